//go:build linux

package endurance

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	v1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// mostFaults bounds how many lost or damaged quotes a test tells of.
const mostFaults = 10

// survived holds that what was acknowledged is there: the tales that nobody looked at since
// they ended, and some of the others. Nothing may be writing meanwhile.
func survived(t testing.TB, p *process, writers []*writer, random *rand.Rand) {
	t.Helper()
	const others = 3 // of each writer's
	r := &reader{t.Context(), doors(t, p)[random.IntN(2)]}
	heads := r.all(t)
	var faults []error
	for _, w := range writers {
		for i := range min(others, w.seen) {
			faults = append(faults, r.check(w.tales[(random.IntN(w.seen)+i)%w.seen], heads))
		}
		for _, s := range w.tales[w.seen:] {
			faults = append(faults, r.check(s, heads))
			if s.ended() {
				w.seen++
			}
		}
	}
	tell(t, faults)
}

// complete holds that exactly what the writers wrote is there, to the last quote, and that it
// is as it was acknowledged. All tales have ended.
func complete(t testing.TB, p *process, writers []*writer, random *rand.Rand) {
	t.Helper()
	r := &reader{t.Context(), doors(t, p)[random.IntN(2)]}
	heads := r.all(t)
	var faults []error
	count := 0
	for _, w := range writers {
		for _, s := range w.tales {
			count++
			if !s.ended() {
				faults = append(faults, fmt.Errorf("%s: its writer did not come to its end", s.key))
			}
			faults = append(faults, r.check(s, heads))
		}
	}
	if count != len(heads) {
		faults = append(faults, fmt.Errorf("%d quotes were written, %d are kept", count, len(heads)))
	}
	faults = append(faults, again(t, p, writers, random)...)
	tell(t, faults)
	t.Logf("%d quotes are there, each once", count)
}

// again looks at some of the quotes twice: their asks, sent once more, are answered as before,
// and their revisions come out the same when they are priced once more.
func again(t testing.TB, p *process, writers []*writer, random *rand.Rand) (faults []error) {
	t.Helper()
	const some = 20
	both := doors(t, p)
	for range some {
		w := writers[random.IntN(len(writers))]
		if len(w.tales) == 0 {
			continue
		}
		s := w.tales[random.IntN(len(w.tales))]
		said := s.told[random.IntN(len(s.told))]
		r := &reader{t.Context(), both[random.IntN(2)]}
		faults = append(faults, r.repeat(s, said), r.recompute(said.quote.GetName(), 1+random.Int32N(int32(len(s.last().GetRevisions()))))) //nolint:gosec // few
	}
	return faults
}

func tell(t testing.TB, faults []error) {
	t.Helper()
	n := 0
	for _, err := range faults {
		if err == nil {
			continue
		}
		if n++; n > mostFaults {
			t.Fatal("and more")
		}
		t.Error(err)
	}
	if n > 0 {
		t.FailNow()
	}
}

// reader reads what is kept, through a door.
type reader struct {
	ctx context.Context
	door
}

func (r *reader) list(token string) (*v1.ListQuotesResponse, error) {
	reply := &v1.ListQuotesResponse{}
	ask := &v1.ListQuotesRequest{PageSize: 100, PageToken: token}
	query := url.Values{"pageSize": {"100"}}
	if token != "" {
		query.Set("pageToken", token)
	}
	err := r.call(r.ctx, call{method: quotes + "ListQuotes", verb: http.MethodGet, path: "/v1/quotes?" + query.Encode(), ask: ask, reply: reply})
	return reply, err
}

// all lists all quotes by their references, page after page, and holds that each reference is
// there once and that the numbers of a year have neither gaps nor repeats.
func (r *reader) all(t testing.TB) map[string]*v1.KeptQuote {
	t.Helper()
	heads := map[string]*v1.KeptQuote{}
	var last number
	for token := ""; ; {
		page, err := r.list(token)
		if err != nil {
			t.Fatalf("listing quotes: %v", err)
		}
		for _, q := range page.GetQuotes() {
			n := numbered(t, q.GetName())
			if last.year != 0 && !n.before(last) {
				t.Errorf("%s stands in the list after %v", q.GetName(), last)
			}
			if other, twice := heads[q.GetReference()]; twice {
				t.Errorf("%s was kept twice: %s and %s", q.GetReference(), q.GetName(), other.GetName())
			}
			last, heads[q.GetReference()] = n, q
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if len(heads) > 0 && last.serial != 1 {
		t.Errorf("the first quote of %d has the number %d", last.year, last.serial)
	}
	return heads
}

// number is a quote's number: Q-2027-0001.
type number struct{ year, serial int }

func numbered(t testing.TB, name string) (n number) {
	t.Helper()
	if _, err := fmt.Sscanf(name, "quotes/Q-%d-%d", &n.year, &n.serial); err != nil {
		t.Fatalf("%s is no quote's name: %v", name, err)
	}
	return n
}

// before reports whether a number is the one before another in a list without gaps: of the
// same year and one less, or the last of an earlier year where the other is a year's first.
func (n number) before(other number) bool {
	if n.year == other.year {
		return n.serial == other.serial-1
	}
	return n.year < other.year && other.serial == 1
}

func (r *reader) get(name string, revision int32) (*v1.KeptQuote, error) {
	ask, reply := &v1.GetQuoteRequest{Name: name}, &v1.GetQuoteResponse{}
	path := "/v1/" + name
	if revision != 0 {
		ask.Revision = proto.Int32(revision)
		path += fmt.Sprintf("?revision=%d", revision)
	}
	err := r.call(r.ctx, call{method: quotes + "GetQuote", verb: http.MethodGet, path: path, ask: ask, reply: reply})
	if err != nil {
		err = fmt.Errorf("reading revision %d (0 for the usual) of %s: %w", revision, name, err)
	}
	return reply.GetQuote(), err
}

// check holds a quote against its tale. What is open may have been kept or not.
func (r *reader) check(s *tale, heads map[string]*v1.KeptQuote) error {
	head, last := heads[s.key], s.last()
	switch {
	case last == nil && head == nil:
		return nil
	case head == nil:
		return fmt.Errorf("%s was acknowledged as %s, and is not in the list", s.key, last.GetName())
	case last != nil && head.GetName() != last.GetName():
		return fmt.Errorf("%s was acknowledged as %s, and is kept as %s", s.key, last.GetName(), head.GetName())
	}
	now, err := r.get(head.GetName(), 0)
	if err != nil {
		return err
	}
	s.kept += max(0, len(now.GetHistory())-len(last.GetHistory()))
	return errors.Join(s.follows(now), replayed(now), alike(head, now), s.unchanged(now), r.revisions(s, now))
}

// follows holds that a history goes on from the one that was acknowledged last, by what is open
// at most.
func (s *tale) follows(now *v1.KeptQuote) error {
	last, history := s.last().GetHistory(), now.GetHistory()
	if len(history) < len(last) {
		return fmt.Errorf("%s: %d acts were acknowledged, %d are kept", now.GetName(), len(last), len(history))
	}
	for i, entry := range last {
		if !proto.Equal(entry, history[i]) {
			return fmt.Errorf("%s: act %d was acknowledged as %v, and is kept as %v", now.GetName(), i+1, entry, history[i])
		}
	}
	switch more := history[len(last):]; {
	case len(more) == 0 && now.GetEtag() != s.last().GetEtag():
		return fmt.Errorf("%s: acknowledged with the etag %s, kept with %s", now.GetName(), s.last().GetEtag(), now.GetEtag())
	case len(more) > 1 || len(more) == 1 && (s.open == nil || more[0].GetAct() != s.open.act):
		return fmt.Errorf("%s: nobody did all of %v; open is %v", now.GetName(), more, s.open)
	}
	return nil
}

// unchanged holds that what was issued has the content that it had.
func (s *tale) unchanged(now *v1.KeptQuote) error {
	for revision, sum := range s.frozen() {
		if int(revision) > len(now.GetRevisions()) || now.GetRevisions()[revision-1].GetContentSha256() != sum {
			return fmt.Errorf("%s: revision %d was frozen with the sum %s, and is kept in %v", now.GetName(), revision, sum, now.GetRevisions())
		}
	}
	return nil
}

// revisions holds that each revision can be read, and holds what was acknowledged, or what is open.
func (r *reader) revisions(s *tale, now *v1.KeptQuote) error {
	titles := s.titles()
	for _, revision := range now.GetRevisions() {
		n := revision.GetNumber()
		shown, err := r.get(now.GetName(), n)
		if err != nil {
			return err
		}
		title := shown.GetBrief().GetTitle()
		asked := s.open != nil && s.open.title != "" && title == s.open.title
		switch {
		case shown.GetShownRevision() != n || shown.GetBrief().GetReference() != s.key || shown.GetQuote().GetTitle() != title:
			return fmt.Errorf("%s: asked for revision %d of %s, it shows %d of %s, %q priced as %q", now.GetName(), n, s.key,
				shown.GetShownRevision(), shown.GetBrief().GetReference(), title, shown.GetQuote().GetTitle())
		case title != titles[n] && !asked:
			return fmt.Errorf("%s: revision %d was acknowledged as %q, and is kept as %q", now.GetName(), n, titles[n], title)
		}
	}
	return nil
}

// repeat sends an ask again that was answered, and holds that the answer is the same.
func (r *reader) repeat(s *tale, said told) error {
	c, reply := said.call()
	if err := r.call(r.ctx, c); err != nil {
		return fmt.Errorf("%s: %s was sent again after it was acknowledged: %w", s.key, said.rpc, err)
	}
	if !proto.Equal(reply.GetQuote(), said.quote) {
		return fmt.Errorf("%s: %s was sent again and answered with\n%v\nbut before with\n%v", s.key, said.rpc, reply.GetQuote(), said.quote)
	}
	return nil
}

// recompute holds that a revision still comes out as it is kept.
func (r *reader) recompute(name string, revision int32) error {
	reply := &v1.RecomputeQuoteResponse{}
	err := r.call(r.ctx, named("RecomputeQuote", name, &v1.RecomputeQuoteRequest{Name: name, Revision: proto.Int32(revision)}, reply))
	if err == nil && !reply.GetSame() {
		err = fmt.Errorf("it comes out otherwise: %s", strings.Join(reply.GetDifferences(), ", "))
	}
	if err != nil {
		return fmt.Errorf("pricing revision %d of %s again: %w", revision, name, err)
	}
	return nil
}

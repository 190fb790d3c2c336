package life_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/life"
)

var number = life.Number{Year: 2027, Serial: 1}

// mark is made by the studio on a day of January 2027.
func mark(day int) life.Mark {
	return life.Mark{
		By: life.Actor{Kind: "studio", Name: "Wren"},
		At: time.Date(2027, 1, day, 9, 30, 0, 0, time.UTC), On: on(day),
	}
}

func on(day int) life.Day { return life.Day(fmt.Sprintf("2027-01-%02d", day)) }

// after makes changes, each a day after the other, from the first of January.
func after(t *testing.T, changes ...life.Change) life.Quote {
	t.Helper()
	q := life.Quote{Number: number}
	for i, c := range changes {
		next, err := q.Do(c, mark(i+1))
		if err != nil {
			t.Fatalf("change %d, %s: %v", i+1, c.Act, err)
		}
		q = next
	}
	return q
}

func TestStatesAfterChanges(t *testing.T) {
	issue := life.Issue(on(10))
	for name, c := range map[string]struct {
		changes   []life.Change
		state     life.State
		revisions []life.State
	}{
		"created":                   {[]life.Change{life.Create("a")}, life.Draft, []life.State{life.Draft}},
		"draft replaced":            {[]life.Change{life.Create("a"), life.Revise("b")}, life.Draft, []life.State{life.Draft}},
		"issued":                    {[]life.Change{life.Create("a"), issue}, life.Issued, []life.State{life.Issued}},
		"revised beside the offer":  {[]life.Change{life.Create("a"), issue, life.Revise("b")}, life.Issued, []life.State{life.Issued, life.Draft}},
		"new revision issued":       {[]life.Change{life.Create("a"), issue, life.Revise("b"), issue}, life.Issued, []life.State{life.Superseded, life.Issued}},
		"accepted":                  {[]life.Change{life.Create("a"), issue, life.Accept()}, life.Accepted, []life.State{life.Accepted}},
		"accepted with a draft":     {[]life.Change{life.Create("a"), issue, life.Revise("b"), life.Accept()}, life.Accepted, []life.State{life.Accepted, life.Superseded}},
		"declined":                  {[]life.Change{life.Create("a"), issue, life.Decline()}, life.Declined, []life.State{life.Declined}},
		"declined, new one offered": {[]life.Change{life.Create("a"), issue, life.Revise("b"), life.Decline(), issue}, life.Issued, []life.State{life.Declined, life.Issued}},
		"expired":                   {[]life.Change{life.Create("a"), life.Issue(on(2)), life.Expire()}, life.Expired, []life.State{life.Expired}},
	} {
		t.Run(name, func(t *testing.T) {
			q := after(t, c.changes...)
			var got []life.State
			for _, r := range q.Revisions {
				got = append(got, r.State)
			}
			if q.State() != c.state || !slices.Equal(got, c.revisions) {
				t.Errorf("got %s with %v, want %s with %v", q.State(), got, c.state, c.revisions)
			}
		})
	}
}

// An offer may be taken on its last day and not after, whether or not its end was recorded.
func TestTheLastValidDay(t *testing.T) {
	q := after(t, life.Create("a"), life.Issue(on(10)))
	if _, err := q.Do(life.Accept(), mark(10)); err != nil {
		t.Errorf("on the last day: %v", err)
	}
	if _, err := q.Do(life.Expire(), mark(10)); !refusedAs(err, life.Issued) {
		t.Errorf("expired on its last day: %v", err)
	}
	for _, c := range []life.Change{life.Accept(), life.Decline(), life.Revise("b")} {
		if _, err := q.Do(c, mark(11)); !refusedAs(err, life.Expired) {
			t.Errorf("%s a day late: %v", c.Act, err)
		}
	}
	expired, err := q.Do(life.Expire(), mark(11))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := expired.Do(life.Accept(), mark(5)); !refusedAs(err, life.Expired) {
		t.Errorf("accepted after it was recorded as expired: %v", err)
	}
}

func refusedAs(err error, state life.State) bool {
	var refused life.Refused
	return errors.As(err, &refused) && refused.State == state
}

func TestARefusalSaysWhatIsAllowed(t *testing.T) {
	_, err := after(t, life.Create("a")).Do(life.Accept(), mark(2))
	if want := "cannot accept a quote that is draft; allowed: revise, issue"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	_, err = after(t, life.Create("a"), life.Issue(on(9)), life.Accept()).Do(life.Decline(), mark(4))
	if want := "cannot decline a quote that is accepted; allowed: nothing"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestChangesThatAreWrongInThemselves(t *testing.T) {
	draft := after(t, life.Create("a"))
	for name, c := range map[string]struct {
		q    life.Quote
		do   life.Change
		on   life.Day
		want error
	}{
		"no content":        {life.Quote{Number: number}, life.Create(""), on(1), life.ErrNoContent},
		"no number":         {life.Quote{}, life.Create("a"), on(1), life.ErrNumber},
		"no day":            {draft, life.Revise("b"), "", life.ErrNoDay},
		"no such day":       {draft, life.Issue("2027-02-30"), on(1), life.ErrNoDay},
		"past before issue": {draft, life.Issue(on(1)), on(2), life.ErrPastDay},
	} {
		if _, err := c.q.Do(c.do, life.Mark{On: c.on}); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", name, err, c.want)
		}
	}
}

func TestNumbersReadAndWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := life.Number{
			Year:   rapid.IntRange(1, life.LastYear).Draw(t, "year"),
			Serial: rapid.OneOf(rapid.IntRange(1, 20_000), rapid.IntRange(1, life.LastSerial)).Draw(t, "serial"),
		}
		if got, err := life.ParseNumber(n.String()); err != nil || got != n {
			t.Fatalf("%s: %v, %v", n, got, err)
		}
	})
	if got := number.String(); got != "Q-2027-0001" {
		t.Errorf("got %s", got)
	}
	for _, text := range []string{
		"", "Q-2027-1", "Q-2027-00001", "Q-2027-0000", "q-2027-0001", "Q-27-0001", "Q-0000-0001", "Q-2027-0001 ", "Q-2027--001", "Q-2027-1000000000",
	} {
		if n, err := life.ParseNumber(text); !errors.Is(err, life.ErrNumber) {
			t.Errorf("%q is read as %v, %v", text, n, err)
		}
	}
}

// anyChange is any act, right or wrong, on a day between the first and the last of January.
func anyChange(t *rapid.T) (life.Change, life.Mark) {
	content := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "content")
	until := on(rapid.IntRange(1, 31).Draw(t, "until"))
	c := rapid.SampledFrom([]life.Change{
		life.Create(content), life.Revise(content), life.Issue(until), life.Issue(until), life.Accept(), life.Decline(), life.Expire(),
	}).Draw(t, "change")
	return c, mark(rapid.IntRange(1, 31).Draw(t, "day"))
}

// Whatever is tried in whatever order, the rules hold. They are written out here a second
// time, by what may follow what, rather than by what the package itself says.
func TestWalks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := life.Quote{Number: number}
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			c, m := anyChange(t)
			next, err := q.Do(c, m)
			if err != nil {
				same(t, q, next)
				continue
			}
			sound(t, next)
			follows(t, q, next)
			q = next
		}
		replayed, err := life.Replay(number, q.History)
		if err != nil {
			t.Fatal(err)
		}
		same(t, q, replayed)
	})
}

func same(t *rapid.T, want, got life.Quote) {
	t.Helper()
	if len(want.Revisions) != len(got.Revisions) || len(want.Revisions) > 0 && !reflect.DeepEqual(want, got) || want.Etag() != got.Etag() {
		t.Fatalf("got %+v, want %+v", got, want)
	}
}

// sound holds of a quote by itself.
func sound(t *rapid.T, q life.Quote) {
	t.Helper()
	open := 0 // revisions that the client may have in hand as an offer, or has agreed to
	for i, r := range q.Revisions {
		if r.Number != i+1 || r.Sum == "" {
			t.Fatalf("revision %d is %+v", i+1, r)
		}
		if r.State == life.Draft && i != len(q.Revisions)-1 {
			t.Fatalf("revision %d of %d is a draft", i+1, len(q.Revisions))
		}
		if r.State == life.Issued || r.State == life.Accepted {
			open++
		}
		if (r.State == life.Issued || r.State == life.Accepted || r.State == life.Expired) && !r.ValidUntil.Valid() {
			t.Fatalf("%s without a last day", r.State)
		}
	}
	if open > 1 {
		t.Fatalf("%d offers at once: %+v", open, q.Revisions)
	}
}

// follows holds of a quote and of what one change made of it.
func follows(t *rapid.T, before, after life.Quote) {
	t.Helper()
	may := map[life.State][]life.State{
		life.Draft:  {life.Draft, life.Issued, life.Superseded},
		life.Issued: {life.Issued, life.Accepted, life.Declined, life.Expired, life.Superseded},
	}
	if before.Etag() == after.Etag() || len(after.History) != len(before.History)+1 {
		t.Fatalf("a change that leaves no trace: %+v", after.History)
	}
	if before.State() == life.Accepted {
		t.Fatalf("changed after it was accepted: %+v", after)
	}
	if n := len(after.Revisions) - len(before.Revisions); n < 0 || n > 1 {
		t.Fatalf("from %d revisions to %d", len(before.Revisions), len(after.Revisions))
	}
	for i, old := range before.Revisions {
		now := after.Revisions[i]
		if now.State != old.State && !slices.Contains(may[old.State], now.State) {
			t.Fatalf("revision %d went from %s to %s", old.Number, old.State, now.State)
		}
		if old.State != life.Draft && (now.Sum != old.Sum || now.ValidUntil != old.ValidUntil) {
			t.Fatalf("revision %d changed after it was issued: %+v, then %+v", old.Number, old, now)
		}
	}
}

// A history that was tampered with does not replay.
func TestAHistoryThatBreaksTheRules(t *testing.T) {
	history := after(t, life.Create("a"), life.Issue(on(10)), life.Accept()).History
	if _, err := life.Replay(number, history[1:]); err == nil {
		t.Error("replayed without its beginning")
	}
	other := slices.Clone(history)
	other[1].Revision = 2
	if _, err := life.Replay(number, other); err == nil {
		t.Error("replayed with a revision that there is not")
	}
}

// Two branches from one quote do not share what they hold.
func TestAQuoteIsAValue(t *testing.T) {
	q := after(t, life.Create("a"), life.Issue(on(10)))
	accepted, _ := q.Do(life.Accept(), mark(3))
	declined, _ := q.Do(life.Decline(), mark(4))
	if q.State() != life.Issued || accepted.State() != life.Accepted || declined.State() != life.Declined {
		t.Errorf("%s, %s, %s", q.State(), accepted.State(), declined.State())
	}
	if accepted.History[2].Act != life.Accepting || declined.History[2].Act != life.Declining {
		t.Error("their histories run into each other")
	}
}

func ExampleQuote_Do() {
	monday := life.Mark{By: life.Actor{Kind: "studio", Name: "Wren"}, On: "2027-01-04"}
	q, _ := life.Quote{Number: life.Number{Year: 2027, Serial: 1}}.Do(life.Create("content"), monday)
	q, _ = q.Do(life.Issue("2027-02-03"), monday)
	fmt.Println(q.Number, q.State(), q.StateOn("2027-02-03"), q.StateOn("2027-02-04"))
	_, err := q.Do(life.Accept(), life.Mark{On: "2027-02-04"})
	fmt.Println(err)
	// Output:
	// Q-2027-0001 issued issued expired
	// cannot accept a quote that is expired; allowed: expire
}

//go:build linux

package endurance

import (
	"fmt"
	"math/rand/v2"

	"google.golang.org/protobuf/proto"

	v1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// ask is a write that was asked for, to be sent again as it is until it is answered.
type ask struct {
	act   v1.QuoteAct
	title string // of the brief, where there is one
	rpc   string
	name  string // of the quote; empty where it has none yet
	body  proto.Message
}

// call is the ask as a call, with an empty answer.
func (a *ask) call() (call, answer) {
	reply := a.empty()
	if a.act == v1.QuoteAct_QUOTE_ACT_CREATE {
		return call{method: quotes + a.rpc, verb: "POST", path: "/v1/quotes", body: true, ask: a.body, reply: reply}, reply
	}
	return named(a.rpc, a.name, a.body, reply), reply
}

// answer is what all writes of quotes are answered with.
type answer interface {
	proto.Message
	GetQuote() *v1.KeptQuote
}

func (a *ask) empty() answer {
	switch a.act {
	case v1.QuoteAct_QUOTE_ACT_CREATE:
		return &v1.CreateQuoteResponse{}
	case v1.QuoteAct_QUOTE_ACT_REVISE:
		return &v1.ReviseQuoteResponse{}
	case v1.QuoteAct_QUOTE_ACT_ISSUE:
		return &v1.IssueQuoteResponse{}
	case v1.QuoteAct_QUOTE_ACT_ACCEPT:
		return &v1.AcceptQuoteResponse{}
	default:
		return &v1.DeclineQuoteResponse{}
	}
}

// told is an ask with the answer that acknowledged it.
type told struct {
	*ask
	quote *v1.KeptQuote
}

// tale is the life of one quote as its writer knows it. The brief's reference names it: no
// other quote has it.
type tale struct {
	key  string
	told []told
	open *ask // was sent, and not answered yet
	plan []v1.QuoteAct
	asks int
	kept int // how often what was not answered was found to be kept
}

// begun is a new tale with a course by chance: revised or not before it is issued, revised and
// issued again or not, and taken, turned down or left.
func begun(key string, random *rand.Rand) *tale {
	course := []v1.QuoteAct{v1.QuoteAct_QUOTE_ACT_CREATE}
	revise, issue := v1.QuoteAct_QUOTE_ACT_REVISE, v1.QuoteAct_QUOTE_ACT_ISSUE
	if random.IntN(4) == 0 {
		course = append(course, revise)
	}
	course = append(course, issue)
	switch random.IntN(8) {
	case 0:
		course = append(course, revise, issue)
	case 1:
		course = append(course, revise) // a draft beside the offer
	}
	switch random.IntN(5) {
	case 0:
		course = append(course, v1.QuoteAct_QUOTE_ACT_DECLINE)
	case 1: // the offer stands
	default:
		course = append(course, v1.QuoteAct_QUOTE_ACT_ACCEPT)
	}
	return &tale{key: key, plan: course}
}

// ordered is a new tale of a quote that is created, issued and accepted.
func ordered(key string, _ *rand.Rand) *tale {
	return &tale{key: key, plan: []v1.QuoteAct{v1.QuoteAct_QUOTE_ACT_CREATE, v1.QuoteAct_QUOTE_ACT_ISSUE, v1.QuoteAct_QUOTE_ACT_ACCEPT}}
}

func (s *tale) ended() bool { return s.open == nil && len(s.plan) == 0 }

// next is what is to be sent: what was not answered, or the next act of the plan.
func (s *tale) next() *ask {
	if s.open == nil {
		s.asks++
		s.open = s.write(s.plan[0], fmt.Sprintf("%s-%d", s.key, s.asks))
		s.plan = s.plan[1:]
	}
	return s.open
}

// write makes the ask for an act. Every other one says which edition of the quote is meant.
func (s *tale) write(act v1.QuoteAct, id string) *ask {
	a := &ask{act: act}
	etag := ""
	if len(s.told) > 0 {
		last := s.told[len(s.told)-1].quote
		a.name = last.GetName()
		if s.asks%2 == 0 {
			etag = last.GetEtag()
		}
	}
	switch act {
	case v1.QuoteAct_QUOTE_ACT_CREATE:
		a.title = "Gate ball " + id
		a.rpc, a.body = "CreateQuote", &v1.CreateQuoteRequest{Brief: ball(a.title, s.key), RequestId: id}
	case v1.QuoteAct_QUOTE_ACT_REVISE:
		a.title = "Gate ball " + id
		a.rpc, a.body = "ReviseQuote", &v1.ReviseQuoteRequest{Name: a.name, Brief: ball(a.title, s.key), Etag: etag, RequestId: id}
	case v1.QuoteAct_QUOTE_ACT_ISSUE:
		a.rpc, a.body = "IssueQuote", &v1.IssueQuoteRequest{Name: a.name, Etag: etag, RequestId: id}
	case v1.QuoteAct_QUOTE_ACT_ACCEPT:
		a.rpc, a.body = "AcceptQuote", &v1.AcceptQuoteRequest{Name: a.name, Etag: etag, RequestId: id}
	default:
		a.rpc, a.body = "DeclineQuote", &v1.DeclineQuoteRequest{Name: a.name, Etag: etag, RequestId: id}
	}
	return a
}

// ball is a brief of one sphere, so that pricing takes little.
func ball(title, key string) *v1.Brief {
	return &v1.Brief{
		Title: title, Client: "Fernhollow Arboretum", Reference: key,
		Pieces: []*v1.Piece{{
			Code: "ball", Name: "Gate ball", Quantity: 1, Body: v1.Body_BODY_CLOSED, Route: v1.Route_ROUTE_DIRECT,
			Form:     &v1.Form{Solids: []*v1.Solid{{Shape: &v1.Solid_Sphere{Sphere: &v1.Sphere{DiameterMm: 400}}}}},
			Laminate: "over-foam-heavy",
			Finish:   "patina",
		}},
	}
}

// heard notes the answer to what was open, and says what is wrong with it.
func (s *tale) heard(quote *v1.KeptQuote) error {
	a := s.open
	s.told, s.open = append(s.told, told{a, quote}), nil
	history := quote.GetHistory()
	switch {
	case len(history) != len(s.told):
		return fmt.Errorf("%s: %s was acknowledged as entry %d of the history, and is the writer's act %d", s.key, a.rpc, len(history), len(s.told))
	case history[len(history)-1].GetAct() != a.act:
		return fmt.Errorf("%s: %s was acknowledged with a history that ends in %v", s.key, a.rpc, history[len(history)-1].GetAct())
	case a.name != "" && quote.GetName() != a.name:
		return fmt.Errorf("%s: %s of %s was acknowledged for %s", s.key, a.rpc, a.name, quote.GetName())
	case a.title != "" && quote.GetBrief().GetTitle() != a.title:
		return fmt.Errorf("%s: %s of %q was acknowledged with the content of %q", s.key, a.rpc, a.title, quote.GetBrief().GetTitle())
	case quote.GetReference() != s.key:
		return fmt.Errorf("%s: %s was acknowledged for another's quote, %s", s.key, a.rpc, quote.GetReference())
	}
	return nil
}

// last is the quote as it was acknowledged last; nil before that.
func (s *tale) last() *v1.KeptQuote {
	if len(s.told) == 0 {
		return nil
	}
	return s.told[len(s.told)-1].quote
}

// titles are what the revisions were acknowledged to hold, by their numbers.
func (s *tale) titles() map[int32]string {
	titles := map[int32]string{}
	for _, t := range s.told {
		if t.title != "" {
			titles[t.quote.GetShownRevision()] = t.title
		}
	}
	return titles
}

// frozen are the content sums that may never change again, by the revisions' numbers: a
// revision that was issued, or superseded, is no draft any more.
func (s *tale) frozen() map[int32]string {
	sums := map[int32]string{}
	for _, t := range s.told {
		for _, r := range t.quote.GetRevisions() {
			if sum, known := sums[r.GetNumber()]; !known && r.GetState() != v1.QuoteState_QUOTE_STATE_DRAFT {
				sums[r.GetNumber()] = r.GetContentSha256()
			} else if known && sum != r.GetContentSha256() {
				sums[r.GetNumber()] = "changed between two acknowledgements"
			}
		}
	}
	return sums
}

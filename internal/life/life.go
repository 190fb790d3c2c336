// Package life is the life of a quote: what may be done to it in which state, and what
// that makes of it. A change and the mark of who made it when go in, and the quote as it
// is then comes out. It reads no clock and keeps nothing.
package life

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// State is how far a quote, or a revision of it, has come.
type State string

// The states. A quote is in the state of its offer: the last revision that was issued, or
// draft where none was. Superseded is a state of revisions only.
const (
	Draft      State = "draft"
	Issued     State = "issued"
	Accepted   State = "accepted"
	Declined   State = "declined"
	Expired    State = "expired"
	Superseded State = "superseded"
)

// Act is what is done to a quote.
type Act string

// The acts.
const (
	Creating  Act = "create"
	Revising  Act = "revise"
	Issuing   Act = "issue"
	Accepting Act = "accept"
	Declining Act = "decline"
	Expiring  Act = "expire"
)

// Change is an act with what it needs: made by Create, Revise, Issue, Accept, Decline or
// Expire.
type Change struct {
	Act        Act
	Sum        string // names what a revision holds: SHA-256 in hexadecimal; of Creating and Revising only
	ValidUntil Day    // the last day on which the offer may be taken; of Issuing only
}

// Create begins a quote with a draft of such content.
func Create(sum string) Change { return Change{Act: Creating, Sum: sum} }

// Revise replaces the draft, or drafts another revision beside the offer, which stands
// until the new revision is issued.
func Revise(sum string) Change { return Change{Act: Revising, Sum: sum} }

// Issue makes the draft the offer, and freezes it. It supersedes an offer that stands.
func Issue(validUntil Day) Change { return Change{Act: Issuing, ValidUntil: validUntil} }

// Accept takes the offer. A draft beside it is superseded: what was agreed is settled.
func Accept() Change { return Change{Act: Accepting} }

// Decline turns the offer down. A draft beside it may still be issued.
func Decline() Change { return Change{Act: Declining} }

// Expire records that the last valid day of the offer is past.
func Expire() Change { return Change{Act: Expiring} }

// Actor is who changes a quote: of a kind such as studio or partner, by name.
type Actor struct{ Kind, Name string }

// Mark is by whom and when a change is made.
type Mark struct {
	By Actor
	At time.Time // compared and kept to the microsecond
	On Day       // the day that it is then at the studio, which decides whether an offer still stands
}

// Revision is one version of a quote.
type Revision struct {
	Number     int // from 1
	State      State
	Sum        string // names what it holds
	ValidUntil Day    // empty until it is issued
}

// Quote is a quote's life so far. It is a value: a change gives another.
type Quote struct {
	Number    Number
	Revisions []Revision // in order of their numbers
	History   []Entry    // the earliest first
}

// Refused says that a quote cannot be changed so in the state that it is in.
type Refused struct {
	State   State // empty where there is no quote yet
	Wanted  Act
	Allowed []Act
}

// Error names the state and what is allowed.
func (r Refused) Error() string {
	if r.State == "" {
		return fmt.Sprintf("cannot %s a quote that there is not yet", r.Wanted)
	}
	may := make([]string, len(r.Allowed))
	for i, act := range r.Allowed {
		may[i] = string(act)
	}
	if len(may) == 0 {
		may = []string{"nothing"}
	}
	return fmt.Sprintf("cannot %s a quote that is %s; allowed: %s", r.Wanted, r.State, strings.Join(may, ", "))
}

// Errors of a change that is wrong in itself.
var (
	ErrNoContent = errors.New("the change does not say what the revision holds")
	ErrNoDay     = errors.New("a day is written as 2027-01-31")
	ErrPastDay   = errors.New("the last valid day is before the day of issue")
	ErrNumber    = errors.New("a number is written as Q-2027-0001")
	ErrTooOften  = fmt.Errorf("the quote was changed %d times already; begin another", MostChanges)
)

// Do makes a change, or says why it may not be made.
func (q Quote) Do(c Change, m Mark) (Quote, error) {
	if err := q.may(c, m); err != nil {
		return q, err
	}
	q.Revisions, q.History = slices.Clone(q.Revisions), slices.Clip(q.History)
	q.note(c, m)
	return q, nil
}

// may says why a change may not be made; nil where it may.
func (q Quote) may(c Change, m Mark) error {
	if err := c.check(m); err != nil {
		return err
	}
	if !q.Number.Valid() {
		return ErrNumber
	}
	if allowed := q.Allowed(m.On); !slices.Contains(allowed, c.Act) {
		return Refused{State: q.StateOn(m.On), Wanted: c.Act, Allowed: allowed}
	}
	if c.Act == Revising && len(q.History) >= MostChanges {
		return ErrTooOften
	}
	return nil
}

// MostChanges is how many changes a quote may have had to be revised once more: each reading
// of it goes through all of them.
const MostChanges = 1000

// note makes a change to a quote whose revisions and history are its own.
func (q *Quote) note(c Change, m Mark) {
	q.History = append(q.History, Entry{Change: c, Revision: q.apply(c), Mark: m})
}

func (c Change) check(m Mark) error {
	if !m.On.Valid() {
		return fmt.Errorf("%w: the day of the change is %q", ErrNoDay, m.On)
	}
	switch c.Act {
	case Creating, Revising:
		if c.Sum == "" {
			return ErrNoContent
		}
	case Issuing:
		if !c.ValidUntil.Valid() {
			return fmt.Errorf("%w: the last valid day is %q", ErrNoDay, c.ValidUntil)
		}
		if c.ValidUntil < m.On {
			return ErrPastDay
		}
	default: // the others bring nothing
	}
	return nil
}

// apply changes the revisions, which are this quote's own, and says which one was meant.
func (q *Quote) apply(c Change) int {
	switch c.Act {
	case Issuing:
		return q.issue(c.ValidUntil)
	case Accepting:
		if draft := q.draft(); draft != nil {
			draft.State = Superseded
		}
		return q.settle(Accepted)
	case Declining:
		return q.settle(Declined)
	case Expiring:
		return q.settle(Expired)
	default:
		return q.write(c.Sum)
	}
}

// issue makes the draft the offer in place of the one that stands.
func (q *Quote) issue(validUntil Day) int {
	if offer := q.offer(); offer != nil && offer.State == Issued {
		offer.State = Superseded
	}
	draft := q.draft()
	draft.State, draft.ValidUntil = Issued, validUntil
	return draft.Number
}

// settle says what became of the offer.
func (q *Quote) settle(state State) int {
	offer := q.offer()
	offer.State = state
	return offer.Number
}

// write puts content into the draft, which it begins where there is none.
func (q *Quote) write(sum string) int {
	draft := q.draft()
	if draft == nil {
		q.Revisions = append(q.Revisions, Revision{Number: len(q.Revisions) + 1, State: Draft})
		draft = &q.Revisions[len(q.Revisions)-1]
	}
	draft.Sum = sum
	return draft.Number
}

// draft is the last revision where that is a draft: there is never another.
func (q *Quote) draft() *Revision {
	if n := len(q.Revisions); n > 0 && q.Revisions[n-1].State == Draft {
		return &q.Revisions[n-1]
	}
	return nil
}

// offer is the last revision that was issued and is not superseded.
func (q *Quote) offer() *Revision {
	for i := len(q.Revisions) - 1; i >= 0; i-- {
		if s := q.Revisions[i].State; s != Draft && s != Superseded {
			return &q.Revisions[i]
		}
	}
	return nil
}

// Drafting returns the draft, where there is one.
func (q Quote) Drafting() (Revision, bool) { return value(q.draft()) }

// Offer returns the revision that the client has, where there is one.
func (q Quote) Offer() (Revision, bool) { return value(q.offer()) }

func value(r *Revision) (Revision, bool) {
	if r == nil {
		return Revision{}, false
	}
	return *r, true
}

// State is the state that is recorded: empty where there is no quote yet.
func (q Quote) State() State {
	if offer, ok := q.Offer(); ok {
		return offer.State
	}
	if len(q.Revisions) > 0 {
		return Draft
	}
	return ""
}

// StateOn is the state on a day: an offer past its last valid day is expired on that day
// whether or not that has been recorded, so that no answer hangs on when somebody looks.
func (q Quote) StateOn(day Day) State {
	if offer, ok := q.Offer(); ok {
		return offer.StateOn(day)
	}
	return q.State()
}

// StateOn is the revision's state on a day, likewise.
func (r Revision) StateOn(day Day) State {
	if r.State == Issued && r.ValidUntil < day {
		return Expired
	}
	return r.State
}

// Allowed lists what may be done to the quote on a day.
func (q Quote) Allowed(day Day) []Act {
	var acts []Act
	_, drafting := q.Drafting()
	state := q.StateOn(day)
	switch {
	case state == "":
		return []Act{Creating}
	case drafting:
		acts = append(acts, Revising, Issuing)
	case state == Issued:
		acts = append(acts, Revising)
	}
	switch {
	case state == Issued:
		acts = append(acts, Accepting, Declining)
	case state == Expired && q.State() == Issued:
		acts = append(acts, Expiring)
	}
	return acts
}

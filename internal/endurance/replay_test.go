//go:build linux

package endurance

import (
	"fmt"

	v1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// lived is a quote's life in the plainest words: what its history, read from the first entry
// to the last, makes of it. It knows nothing of how the program does that.
type lived struct {
	state            v1.QuoteState
	revisions, offer int32
	drafting         bool
}

// take lives one entry, and returns the revision that it is of.
func (l *lived) take(act v1.QuoteAct) int32 {
	switch act {
	case v1.QuoteAct_QUOTE_ACT_CREATE, v1.QuoteAct_QUOTE_ACT_REVISE:
		if !l.drafting {
			l.revisions, l.drafting = l.revisions+1, true
		}
		return l.revisions
	case v1.QuoteAct_QUOTE_ACT_ISSUE:
		l.offer, l.state, l.drafting = l.revisions, v1.QuoteState_QUOTE_STATE_ISSUED, false
	case v1.QuoteAct_QUOTE_ACT_ACCEPT:
		l.state, l.drafting = v1.QuoteState_QUOTE_STATE_ACCEPTED, false
	case v1.QuoteAct_QUOTE_ACT_DECLINE:
		l.state = v1.QuoteState_QUOTE_STATE_DECLINED
	default: // offers do not lapse while a test runs
		l.state = v1.QuoteState_QUOTE_STATE_UNSPECIFIED
	}
	return l.offer
}

// replayed holds that a quote is what its history says.
func replayed(q *v1.KeptQuote) error {
	l := lived{state: v1.QuoteState_QUOTE_STATE_DRAFT}
	for i, entry := range q.GetHistory() {
		if of := l.take(entry.GetAct()); of != entry.GetRevision() {
			return fmt.Errorf("%s: entry %d of its history is of revision %d, and should be of %d: %v", q.GetName(), i+1, entry.GetRevision(), of, q.GetHistory())
		}
	}
	if q.GetState() != l.state || len(q.GetRevisions()) != int(l.revisions) {
		return fmt.Errorf("%s: it is %v with %d revisions, and by its history %v with %d", q.GetName(), q.GetState(), len(q.GetRevisions()), l.state, l.revisions)
	}
	return nil
}

// alike holds that a quote in a list is as it is by itself.
func alike(head, now *v1.KeptQuote) error {
	if head.GetState() != now.GetState() || head.GetEtag() != now.GetEtag() || head.GetValidUntil() != now.GetValidUntil() || head.GetCreateTime() != now.GetCreateTime() {
		return fmt.Errorf("%s: in the list it is %v with the etag %s, by itself %v with %s", now.GetName(), head.GetState(), head.GetEtag(), now.GetState(), now.GetEtag())
	}
	return nil
}

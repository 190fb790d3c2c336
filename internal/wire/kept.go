package wire

import (
	"strings"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Prefixes of resource names.
const (
	QuotePrefix   = "quotes/"
	PartnerPrefix = "partners/"
	KeyPrefix     = "keys/"
)

// KeptQuote returns a quote's life as it is on a day: everything but its content. Allowed is what
// its caller may do to it.
func KeptQuote(q store.Quote, on life.Day, allowed []life.Act) *mouldwrightv1.KeptQuote {
	pb := &mouldwrightv1.KeptQuote{
		Name: QuoteName(q.Number), State: stateNumbers()[q.StateOn(on)], Etag: q.Etag(), Partner: PartnerName(q.Owner),
		AllowedActs: acts(allowed),
	}
	if offer, ok := q.Offer(); ok {
		pb.ValidUntil = string(offer.ValidUntil)
	}
	for _, r := range q.Revisions {
		pb.Revisions = append(pb.Revisions, revision(r, on))
	}
	for _, e := range q.History {
		pb.History = append(pb.History, entry(e))
	}
	if len(q.History) > 0 {
		pb.CreateTime = Time(q.History[0].At)
	}
	return pb
}

// acts lists what may be done by callers. That an offer has lapsed the service notes by itself.
func acts(allowed []life.Act) []mouldwrightv1.QuoteAct {
	var out []mouldwrightv1.QuoteAct
	for _, act := range allowed {
		if act != life.Expiring {
			out = append(out, actNumbers()[act])
		}
	}
	return out
}

func revision(r life.Revision, on life.Day) *mouldwrightv1.QuoteRevision {
	return &mouldwrightv1.QuoteRevision{
		Number: int32(r.Number), State: stateNumbers()[r.StateOn(on)], ValidUntil: string(r.ValidUntil), ContentSha256: r.Sum, //nolint:gosec // counted from 1
	}
}

func entry(e life.Entry) *mouldwrightv1.QuoteEntry {
	return &mouldwrightv1.QuoteEntry{
		Act: actNumbers()[e.Act], Revision: int32(e.Revision), Time: Time(e.At), ActorKind: e.By.Kind, Actor: e.By.Name, //nolint:gosec // counted from 1
	}
}

// QuoteHead returns a quote in a list: title, net price and the like are those of its summary,
// which is of the offer, or of the draft where there is none.
func QuoteHead(h store.Head, on life.Day) *mouldwrightv1.KeptQuote {
	state := life.Revision{State: h.State, ValidUntil: h.ValidUntil}.StateOn(on)
	return &mouldwrightv1.KeptQuote{
		Name: QuoteName(h.Number), State: stateNumbers()[state], Etag: h.Etag, Partner: PartnerName(h.Owner), ValidUntil: string(h.ValidUntil),
		Title: h.Summary.Title, Client: h.Summary.Client, Reference: h.Summary.Reference, CreateTime: Time(h.At),
		Net: &mouldwrightv1.Money{CurrencyCode: h.Summary.Currency, Amount: h.Summary.Net},
	}
}

// QuoteName is the resource name of a quote.
func QuoteName(n life.Number) string { return QuotePrefix + n.String() }

// QuoteNumber reads a quote's resource name.
func QuoteNumber(name string) (life.Number, error) {
	return life.ParseNumber(strings.TrimPrefix(name, QuotePrefix))
}

// PartnerName is the resource name of a partner; empty for the studio.
func PartnerName(id string) string {
	if id == "" {
		return ""
	}
	return PartnerPrefix + id
}

// PartnerID reads a partner's resource name; empty for none.
func PartnerID(name string) string { return strings.TrimPrefix(name, PartnerPrefix) }

// Time writes a moment as RFC 3339 has it, in UTC; nothing for no moment.
func Time(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// QuoteState is the state of a number of the contract; empty for none.
func QuoteState(pb mouldwrightv1.QuoteState) life.State {
	for state, number := range stateNumbers() {
		if number == pb {
			return state
		}
	}
	return ""
}

func stateNumbers() map[life.State]mouldwrightv1.QuoteState {
	return map[life.State]mouldwrightv1.QuoteState{
		life.Draft:      mouldwrightv1.QuoteState_QUOTE_STATE_DRAFT,
		life.Issued:     mouldwrightv1.QuoteState_QUOTE_STATE_ISSUED,
		life.Accepted:   mouldwrightv1.QuoteState_QUOTE_STATE_ACCEPTED,
		life.Declined:   mouldwrightv1.QuoteState_QUOTE_STATE_DECLINED,
		life.Expired:    mouldwrightv1.QuoteState_QUOTE_STATE_EXPIRED,
		life.Superseded: mouldwrightv1.QuoteState_QUOTE_STATE_SUPERSEDED,
	}
}

func actNumbers() map[life.Act]mouldwrightv1.QuoteAct {
	return map[life.Act]mouldwrightv1.QuoteAct{
		life.Creating:  mouldwrightv1.QuoteAct_QUOTE_ACT_CREATE,
		life.Revising:  mouldwrightv1.QuoteAct_QUOTE_ACT_REVISE,
		life.Issuing:   mouldwrightv1.QuoteAct_QUOTE_ACT_ISSUE,
		life.Accepting: mouldwrightv1.QuoteAct_QUOTE_ACT_ACCEPT,
		life.Declining: mouldwrightv1.QuoteAct_QUOTE_ACT_DECLINE,
		life.Expiring:  mouldwrightv1.QuoteAct_QUOTE_ACT_EXPIRE,
	}
}

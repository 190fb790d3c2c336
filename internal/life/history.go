package life

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Entry is one line of a quote's history: what was done, to which revision, by whom, when.
type Entry struct {
	Change
	Revision int
	Mark
}

// Replay makes the quote that a history tells of, or says where it breaks the rules.
func Replay(number Number, history []Entry) (Quote, error) {
	q := Quote{Number: number, History: make([]Entry, 0, len(history))}
	for i, e := range history {
		if err := q.may(e.Change, e.Mark); err != nil {
			return q, fmt.Errorf("history of %s, entry %d: %w", number, i+1, err)
		}
		q.note(e.Change, e.Mark)
		if got := q.History[i].Revision; got != e.Revision {
			return q, fmt.Errorf("history of %s, entry %d: it tells of revision %d, which would be %d", number, i+1, e.Revision, got)
		}
	}
	return q, nil
}

// Etag is a text that changes with every change of the quote: the number of its history's
// entries, and a sum over them, so that a copy that was changed otherwise has another.
func (q Quote) Etag() string {
	sum := sha256.New()
	for _, e := range q.History {
		// A quoted text cannot run into the next one.
		fmt.Fprintf(sum, "%q %q %q %d %q %q %d %q\n",
			e.Act, e.Sum, e.ValidUntil, e.Revision, e.By.Kind, e.By.Name, e.At.UnixMicro(), e.On)
	}
	return fmt.Sprintf("%d-%s", len(q.History), hex.EncodeToString(sum.Sum(nil)[:8]))
}

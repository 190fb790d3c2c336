package cabinet

import (
	"testing"
	"testing/synctest"

	"github.com/mouldwright/mouldwright/internal/shelf"
)

// While one owner's file is studied, another who brings the same one has it studied as well;
// the owner itself, bringing it twice at once, waits and gets the one model.
func TestStudiesOfOneFileForTwoOwners(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, err := newModels(1 << 20)
		if err != nil {
			t.Fatal(err)
		}
		let, studies := make(chan struct{}), 0
		bring := func(owner string) <-chan struct{} {
			done := make(chan struct{})
			go func() {
				defer close(done)
				_, err := m.take(t.Context(), owner, "sum", func() (*shelf.Item, error) {
					studies++ // by one at a time, as the bubble comes to rest
					<-let
					return nil, &UnusableError{errUnfinished} // told all who wait
				})
				if err == nil {
					t.Error("it came to something")
				}
			}()
			synctest.Wait()
			return done
		}
		first, again, other, studio := bring("tamsin-row"), bring("tamsin-row"), bring("quillmere"), bring("")
		if studies != 3 {
			t.Errorf("%d studies for three owners", studies)
		}
		close(let)
		for _, done := range []<-chan struct{}{first, again, other, studio} {
			<-done
		}
		if len(m.studying) != 0 {
			t.Errorf("%d studies go on for ever", len(m.studying))
		}
	})
}

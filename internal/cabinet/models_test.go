package cabinet_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/memory"
)

// room of a corner: its file, which is longer than a binary STL of four triangles.
func cornerRoom() int64 { return int64(len(corner(100))) }

// cornersKept is a store with corners a, b, c and so on of the studio's.
func cornersKept(t testing.TB, n int) store.Store {
	t.Helper()
	s := memory.New()
	c := open(t, s, plenty)
	for i := range n {
		keep(t, c, "", withModel(t, named(string(rune('a'+i)), 100+i)))
	}
	return s
}

// Many who want one mesh at once that is not at hand have it studied once, and get one model.
func TestOneStudyOfOneMesh(t *testing.T) {
	s, read := counted(cornersKept(t, 1))
	c := open(t, s, plenty)
	got := make([]*maquette.Maquette, 16)
	var all sync.WaitGroup
	for n := range got {
		all.Go(func() {
			item, err := c.Find(t.Context(), "", "meshes/a", store.Studio())
			if err != nil {
				t.Error(err)
				return
			}
			got[n] = item.Model
		})
	}
	all.Wait()
	for _, model := range got {
		if model != got[0] || model == nil {
			t.Fatal("there is more than one model")
		}
	}
	if *read != 1 {
		t.Errorf("read %d times", *read)
	}
}

// There are as many models at hand as there is room for: those that were asked for last.
// What is not at hand is read and studied again.
func TestTheLeastUsedModelGoesFirst(t *testing.T) {
	s, read := counted(cornersKept(t, 3))
	c := open(t, s, cabinet.Room{Owner: 1 << 20, Memory: 2*cornerRoom() + 1})
	for n, step := range []struct {
		name string
		read int // by then
	}{{"a", 1}, {"b", 2}, {"a", 2}, {"c", 3}, {"a", 3}, {"b", 4}, {"a", 4}, {"b", 4}} {
		find(t, c, "", "meshes/"+step.name)
		if *read != step.read {
			t.Fatalf("step %d, %s: read %d times, want %d", n, step.name, *read, step.read)
		}
	}
}

// A model that is larger than all room for models is there for who asked, and puts none out.
func TestAModelLargerThanTheRoom(t *testing.T) {
	inner := cornersKept(t, 2)
	large := block(t, "large", "x", 3*int(cornerRoom()))
	s, read := counted(inner)
	c := open(t, s, cabinet.Room{Owner: 1 << 20, Memory: 2*cornerRoom() + 1})
	find(t, c, "", "meshes/a")
	find(t, c, "", "meshes/b")
	if got := keep(t, c, "", large); got.Model != large.Model {
		t.Error("it has no model")
	}
	find(t, c, "", "meshes/a")
	find(t, c, "", "meshes/b")
	if *read != 2 {
		t.Errorf("read %d times", *read)
	}
	none := open(t, s, cabinet.Room{Owner: 1 << 20})
	find(t, none, "", "meshes/a")
	find(t, none, "", "meshes/a")
	if *read != 4 {
		t.Errorf("without any room: read %d times", *read-2)
	}
}

// bare is a block that nobody studied. It is no mesh file: whoever has it studied is told so.
func bare(id string) *shelf.Item {
	return shelf.Identify([]byte("x"+strings.Repeat(" ", least-1)), shelf.Reading{ID: id})
}

// studied holds that a bare block that an owner brings is studied, or is not.
func studied(t testing.TB, c *cabinet.Cabinet, owner, id string, want bool) {
	t.Helper()
	_, err := c.Keep(t.Context(), owner, bare(id))
	var unusable *cabinet.UnusableError
	if got := errors.As(err, &unusable); got != want || !got && err != nil {
		t.Errorf("%q brings %q: studied %v, %v", owner, id, got, err)
	}
}

// A file that is new to its owner is studied, though another owner's model of it is at hand;
// one that the owner keeps, under whatever name, is not studied again.
func TestAFileThatIsNewToItsOwnerIsStudied(t *testing.T) {
	c := open(t, memory.New(), plenty)
	studied(t, c, "", "hare", true)
	keep(t, c, "", withModel(t, bare("hare")))
	for _, id := range []string{"hare", "again", ""} {
		studied(t, c, "", id, false)
	}
	studied(t, c, tamsin, "hare", true)
	keep(t, c, tamsin, withModel(t, bare("hare")))
	for _, id := range []string{"hare", "like"} {
		studied(t, c, tamsin, id, false)
	}
	studied(t, c, quillmere, "", true)
	for _, name := range []string{"meshes/hare", "meshes/like"} {
		find(t, c, "", "meshes/hare")
		find(t, c, tamsin, name)
		if err := c.Drop(t.Context(), tamsin, name, store.EyesOf(tamsin)); err != nil {
			t.Fatal(err)
		}
	}
	studied(t, c, tamsin, "hare", true) // it is kept no more
}

// A file that was not kept for want of room is as new to its owner the next time.
func TestAFileThatWasNotKeptIsNew(t *testing.T) {
	c := open(t, memory.New(), cabinet.Room{Owner: least - 1, Memory: 1 << 20})
	for _, owner := range []string{"", tamsin} {
		_, err := c.Keep(t.Context(), owner, withModel(t, bare("hare")))
		fails(t, "no room", err, store.ErrNoRoom)
		studied(t, c, owner, "hare", true)
	}
}

// Nobody who brings a file waits for another owner's study of it. All here would wait for
// ever otherwise, which the bubble finds out.
func TestWhoBringsAFileWaitsForNoOtherOwner(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, begun, let := gated(cornersKept(t, 1))
		c := open(t, s, plenty)
		led, broken := make(chan error, 1), errors.New("the disk is gone")
		go func() {
			_, err := c.Find(t.Context(), "", "meshes/a", store.Studio())
			led <- err
		}()
		<-begun
		keep(t, c, tamsin, withModel(t, named("a", 100)))
		let <- broken
		fails(t, "who studied", <-led, broken)
	})
}

// A model that takes another's place takes no room beside it.
func TestAModelInAnothersPlace(t *testing.T) {
	c := open(t, memory.New(), cabinet.Room{Owner: 1 << 20, Memory: 2*least + 1})
	keep(t, c, "", block(t, "b", "b", least))
	for _, owner := range []string{"", tamsin, quillmere} {
		keep(t, c, owner, withModel(t, bare("a")))
	}
	find(t, c, "", "meshes/a")
	find(t, c, "", "meshes/b") // which could not be studied
}

// gated is a store whose first reading of a file waits until it is let go, or its caller's
// time is up.
func gated(s store.Store) (w *watched, begun chan struct{}, let chan error) {
	begun, let = make(chan struct{}), make(chan error)
	var first sync.Once
	w = &watched{s, func(ctx context.Context) (err error) {
		first.Do(func() {
			close(begun)
			select {
			case err = <-let:
			case <-ctx.Done():
				err = ctx.Err()
			}
		})
		return err
	}}
	return w, begun, let
}

// One who waits for another's study may leave, and the study goes on.
func TestWhoWaitsMayLeave(t *testing.T) {
	s, begun, let := gated(cornersKept(t, 1))
	c := open(t, s, plenty)
	led := make(chan error, 1)
	go func() {
		_, err := c.Find(t.Context(), "", "meshes/a", store.Studio())
		led <- err
	}()
	<-begun
	ctx, leave := context.WithCancel(t.Context())
	waited := make(chan error, 1)
	go func() {
		_, err := c.Find(ctx, "", "meshes/a", store.Studio())
		waited <- err
	}()
	leave()
	fails(t, "who left", <-waited, context.Canceled)
	let <- nil
	if err := <-led; err != nil {
		t.Error(err)
	}
}

// Where one caller's study comes to nothing, for want of time or because the file could not
// be had, those who waited for it do it themselves.
func TestWhatBecomesOfThoseWhoWait(t *testing.T) {
	broken := errors.New("the disk is gone")
	for _, end := range []error{context.Canceled, broken} {
		s, begun, let := gated(cornersKept(t, 1))
		c := open(t, s, plenty)
		ctx, cancel := context.WithCancel(t.Context())
		led, waited := make(chan error, 1), make(chan error, 1)
		go func() {
			_, err := c.Find(ctx, "", "meshes/a", store.Studio())
			led <- err
		}()
		<-begun
		go func() {
			_, err := c.Find(t.Context(), "", "meshes/a", store.Studio())
			waited <- err
		}()
		if errors.Is(end, broken) {
			let <- end
		} else {
			cancel()
		}
		fails(t, "who studied", <-led, end)
		if err := <-waited; err != nil {
			t.Errorf("after %v: %v", end, err)
		}
		cancel()
	}
}

// A file of which nothing can be made is told all who wait for it.
func TestManyBringWhatCannotBeUsed(t *testing.T) {
	c := open(t, memory.New(), plenty)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			_, err := c.Keep(t.Context(), "", shelf.Identify([]byte("solid"), shelf.Reading{ID: "a", Unit: 1, FileName: "a.stl"}))
			var unusable *cabinet.UnusableError
			if !errors.As(err, &unusable) {
				t.Errorf("got %v", err)
			}
		})
	}
	all.Wait()
}

// A study that panics keeps nobody waiting, then or later.
func TestAStudyThatPanics(t *testing.T) {
	s := &watched{cornersKept(t, 1), func(context.Context) error { panic("a defect") }}
	c := open(t, s, plenty)
	for range 2 {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("it did not panic")
				}
			}()
			_, _ = c.Find(t.Context(), "", "meshes/a", store.Studio())
		}()
	}
	s.reading = func(context.Context) error { return nil }
	find(t, c, "", "meshes/a")
}

// No study is begun for one whose time is up.
func TestNoStudyBeginsTooLate(t *testing.T) {
	s, read := counted(cornersKept(t, 1))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := open(t, s, plenty).Models(ctx)("whatever")
	fails(t, "too late", err, context.Canceled)
	if *read != 0 {
		t.Error("it was read")
	}
}

// For one brief a name stands for one mesh, whatever becomes of it meanwhile. The next brief
// finds what is kept by then.
func TestANameInABrief(t *testing.T) {
	s, read := counted(cornersKept(t, 1))
	c := open(t, s, cabinet.Room{Owner: 1 << 20}) // nothing is at hand
	meshes := c.Meshes(t.Context(), "", store.Studio())
	model, sum, err := meshes("meshes/a")
	if err != nil || model == nil {
		t.Fatal(err)
	}
	if err := c.Drop(t.Context(), "", "meshes/a", store.Studio()); err != nil {
		t.Fatal(err)
	}
	keep(t, c, "", named("a", 105))
	if again, same, err := meshes("meshes/a"); again != model || same != sum || err != nil || *read != 1 {
		t.Errorf("it is another within one brief: %s, %v, read %d times", same, err, *read)
	}
	if _, other, err := c.Meshes(t.Context(), "", store.Studio())("meshes/a"); other == sum || err != nil {
		t.Errorf("the next brief finds the old one; %v", err)
	}
	for _, name := range []string{"meshes/none", "", "hare"} {
		_, _, err := meshes(name)
		fails(t, name, err, cabinet.ErrNone)
	}
}

// Who only looks has no mesh studied.
func TestWhatIsAtHand(t *testing.T) {
	s, read := counted(cornersKept(t, 1))
	c := open(t, s, plenty)
	_, _, err := c.AtHand(t.Context(), "", store.Studio())("meshes/a")
	fails(t, "before", err, cabinet.ErrNotAtHand)
	_, _, err = c.AtHand(t.Context(), "", store.Studio())("meshes/none")
	fails(t, "none", err, cabinet.ErrNone)
	if *read != 0 {
		t.Error("it was read")
	}
	find(t, c, "", "meshes/a")
	if model, sum, err := c.AtHand(t.Context(), "", store.Studio())("meshes/a"); model == nil || sum == "" || err != nil {
		t.Error(err)
	}
}

// A revision finds its mesh by its content, and none by another's.
func TestByContent(t *testing.T) {
	s := cornersKept(t, 2)
	of := open(t, s, plenty).Models(t.Context())
	sum := named("a", 100).Sum
	one, err := of(sum)
	two, again := of(sum)
	if one == nil || one != two || errors.Join(err, again) != nil {
		t.Error(err, again)
	}
	_, err = of("none")
	fails(t, "none", err, store.ErrNotFound)
}

// Many callers keep, find and drop at once; whoever finds a name finds its own file. A block
// is no mesh file: one that is not at hand any more cannot be studied.
func TestManyCallersAtOnce(t *testing.T) {
	c := open(t, memory.New(), cabinet.Room{Owner: 8 * least, Memory: 3 * least})
	var all sync.WaitGroup
	for caller := range 6 {
		owner := []string{"", tamsin, quillmere}[caller%3]
		mine := make([]*shelf.Item, 5)
		for n := range mine {
			mine[n] = block(t, "", fmt.Sprint(n), least)
		}
		all.Go(func() {
			for n := range 100 {
				i := mine[n%5]
				var unusable *cabinet.UnusableError
				if got, err := c.Keep(t.Context(), owner, i); err != nil && !errors.As(err, &unusable) || err == nil && got.Sum != i.Sum {
					t.Errorf("kept %v, %v", got, err)
				}
				if got, err := c.Find(t.Context(), owner, i.Name, store.EyesOf(owner)); err == nil && got.Sum != i.Sum {
					t.Errorf("%s is another file", i.Name)
				}
				if err := c.Drop(t.Context(), owner, i.Name, store.EyesOf(owner)); err != nil && !errors.Is(err, store.ErrNotFound) {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
}

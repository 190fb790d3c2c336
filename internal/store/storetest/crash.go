package storetest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// writeTo names the variable that tells a test program to be a writer, and where.
const writeTo = "MOULDWRIGHT_TEST_WRITE_TO"

// Writer makes the program a writer until it is killed, where Crash started it as one: it
// creates and issues quotes, and says on its output which writes were acknowledged.
func Writer(open func(ctx context.Context, address string) (store.Store, error)) {
	address := os.Getenv(writeTo)
	if address == "" {
		return
	}
	s, err := open(context.Background(), address)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	var mu sync.Mutex // a line must not run into another
	say := func(q store.Quote) {
		mu.Lock()
		defer mu.Unlock()
		fmt.Println(q.Number, len(q.History))
	}
	together(func(int) {
		for {
			if err := writeOne(context.Background(), s, say); err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
		}
	})
}

func writeOne(ctx context.Context, s store.Store, say func(store.Quote)) error {
	q, err := tryCreate(ctx, s, "")
	if err != nil {
		return err
	}
	say(q)
	if q, err = change(ctx, s, q.Number, q.Etag(), life.Issue(on(20)), 2); err == nil {
		say(q)
	}
	return err
}

// Crash has a program of eight writers killed at chance moments, again and again. Whatever was
// acknowledged is there each time, numbers have neither gaps nor repeats, and no quote is half
// written. The program is this test's own, whose TestMain calls Writer.
func Crash(t *testing.T, address string, open Open) {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	kills := 20
	if testing.Short() {
		kills = 3
	}
	withBook(t, open(t))
	acknowledged := map[life.Number]int{} // entries of the history
	for range kills {
		killed(t, address, random, acknowledged)
		survived(t, open(t), acknowledged)
	}
	t.Logf("%d quotes were acknowledged before %d kills", len(acknowledged), kills)
}

// Outage has the database crash under eight writers at chance moments, again and again. What
// was acknowledged is there each time, as it is where the writers are killed.
func Outage(t *testing.T, crash, again func() error, open Open) {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	crashes := 6
	if testing.Short() {
		crashes = 2
	}
	withBook(t, open(t))
	acknowledged := map[life.Number]int{}
	for range crashes {
		crashed(t, open(t), crash, 1+random.IntN(60), acknowledged)
		if err := again(); err != nil {
			t.Fatal(err)
		}
		survived(t, open(t), acknowledged)
	}
	t.Logf("%d quotes were acknowledged before %d crashes", len(acknowledged), crashes)
}

// crashed crashes the database once some writes were acknowledged.
func crashed(t *testing.T, s store.Store, crash func() error, after int, acknowledged map[life.Number]int) {
	t.Helper()
	var mu sync.Mutex
	enough := make(chan struct{})
	say := func(q store.Quote) {
		mu.Lock()
		defer mu.Unlock()
		acknowledged[q.Number] = max(acknowledged[q.Number], len(q.History))
		if after--; after == 0 {
			close(enough)
		}
	}
	down := make(chan error, 1)
	gaveUp := make(chan struct{})
	go func() {
		select {
		case <-enough:
		case <-gaveUp:
		}
		down <- crash()
	}()
	together(func(int) {
		for {
			if err := writeOne(t.Context(), s, say); err != nil {
				fails(t, err, store.ErrUnavailable)
				return
			}
		}
	})
	close(gaveUp)
	if err := errors.Join(<-down, s.Close()); err != nil {
		t.Fatal(err)
	}
}

// killed runs the program, notes what it says, and kills it after some lines and a moment.
func killed(t *testing.T, address string, random *rand.Rand, acknowledged map[life.Number]int) {
	t.Helper()
	program := exec.Command(os.Args[0])
	program.Env = append(os.Environ(), writeTo+"="+address)
	program.Stderr = os.Stderr
	said, err := program.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	lines, left := bufio.NewScanner(said), 1+random.IntN(60)
	for lines.Scan() {
		number, entries := "", 0
		if _, err := fmt.Sscan(lines.Text(), &number, &entries); err != nil {
			break // the last line, cut short
		}
		n, err := life.ParseNumber(number)
		if err != nil {
			t.Fatal(err)
		}
		acknowledged[n] = max(acknowledged[n], entries)
		if left--; left == 0 {
			time.Sleep(time.Duration(random.IntN(2000)) * time.Microsecond)
			if err := program.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	var ended *exec.ExitError
	if err := program.Wait(); !errors.As(err, &ended) || !strings.Contains(ended.String(), "killed") {
		t.Fatalf("the program was to be killed, but: %v", err)
	}
}

func survived(t *testing.T, s store.Store, acknowledged map[life.Number]int) {
	t.Helper()
	view(t, s, func(r store.Reader) error {
		heads, err := r.Quotes(store.Filter{}, life.Number{}, 1_000_000, store.Studio())
		slices.Reverse(heads)
		for i, h := range heads {
			equal(t, "number", h.Number.Serial, i+1)
			whole(t, r, h, acknowledged[h.Number])
			acknowledged[h.Number] = max(acknowledged[h.Number], 1) // from now on it must stay
		}
		equal(t, "quotes", len(heads), len(acknowledged))
		return err
	})
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

func whole(t *testing.T, r store.Reader, h store.Head, entries int) {
	t.Helper()
	q, err := r.Quote(h.Number, store.Studio())
	if err != nil {
		t.Fatal(err)
	}
	if len(q.History) < entries {
		t.Errorf("%s: %d changes were acknowledged, %d are kept", h.Number, entries, len(q.History))
	}
	c, err := r.Content(h.Number, 1, store.Studio())
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "content", c, asRead(content("first")))
	equal(t, "etag", q.Etag(), h.Etag)
}

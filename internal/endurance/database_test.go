//go:build linux

package endurance

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/store/postgres/postgrestest"
)

// The database is stopped as if it had failed, and started again, while eight callers write and
// the program runs on. They are told that it is away, in good order; the program finds it
// again by itself; and nothing is lost or kept twice.
func TestTheDatabaseIsKilled(t *testing.T) {
	if database == nil {
		shared(t) // says why not
	}
	random := chance(t)
	own, settings := ownDatabase(t)
	p := start(t, at(settings))
	writers := newWriters(another(random), 8, begun)
	m := steady()
	m.away = func(*refusal) error { return nil }
	var over atomic.Bool
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error, 1)
	through := doors(t, p)
	go func() {
		done <- write(ctx, writers, through, m, func(w *writer) bool { return !over.Load() || w.busy() })
	}()
	kills := many(t, "MOULDWRIGHT_DB_KILLS", 3, 2)
	for n := range kills {
		if err := outage(ctx, own, settings, through, m.count, random); err != nil {
			cancel()
			t.Fatalf("kill %d of the database: %v, and of the writers: %v", n+1, err, <-done)
		}
	}
	over.Store(true)
	if err := within(done); err != nil {
		t.Fatal(err)
	}
	complete(t, p, writers, random)
	p.stop(t)
	t.Logf("%d kills of the database: %v", kills, m.count)
	if m.count.unavailable.Load() == 0 {
		t.Error("no writer was told that the database was away: nothing was shown")
	}
}

// ownDatabase is a database on a server that this test may kill, and its settings.
func ownDatabase(t testing.TB) (*postgrestest.Server, string) {
	t.Helper()
	own, err := postgrestest.Start()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := own.Stop(); err != nil {
			t.Log(err) // it may be down when the test failed
		}
	})
	settings, err := own.Database(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	return own, settings
}

// outage lets writers write for a while, takes the database away, holds what callers are told
// meanwhile, gives it back, and waits for the writers to go on.
func outage(ctx context.Context, own *postgrestest.Server, settings string, through []door, count *tally, random *rand.Rand) error {
	if err := goesOn(ctx, count, random.Int64N(40)+1); err != nil {
		return err
	}
	time.Sleep(between(random, 0, 50*time.Millisecond))
	if err := stopAtOnce(settings); err != nil {
		return err
	}
	told := errors.Join(toldAway(ctx, through[0]), toldAway(ctx, through[1]))
	time.Sleep(between(random, 0, 500*time.Millisecond))
	if err := own.Again(); err != nil {
		return errors.Join(told, err)
	}
	return errors.Join(told, goesOn(ctx, count, 8))
}

// goesOn waits until so many more writes were acknowledged.
func goesOn(ctx context.Context, count *tally, more int64) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for until := count.acknowledged.Load() + more; count.acknowledged.Load() < until; {
		if wait(ctx, time.Millisecond) != nil {
			return fmt.Errorf("no %d more writes were acknowledged, within %v or before the writers stopped: %v", more, patience, count)
		}
	}
	return nil
}

// stopAtOnce stops a database's server as pg_ctl stop -m immediate does: by SIGQUIT to the
// process whose id is the first line of postmaster.pid, in whose wake nothing is written and
// the next start recovers ("Shutting Down the Server" in PostgreSQL's manual). It returns when
// the file is gone, which the server does last.
func stopAtOnce(settings string) error {
	path := filepath.Join(setting(settings)["host"], "data", "postmaster.pid")
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	id := 0
	if _, err := fmt.Sscan(strings.SplitN(string(text), "\n", 2)[0], &id); err != nil || id < 2 {
		return fmt.Errorf("%s begins with no process id: %w", path, err)
	}
	if err := syscall.Kill(id, syscall.SIGQUIT); err != nil {
		return err
	}
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			return nil
		}
	}
	return fmt.Errorf("the database's server did not stop within %v", patience)
}

// toldAway holds that a reader is told that the store is away, and when to come again.
func toldAway(ctx context.Context, d door) error {
	r := &reader{ctx, d}
	_, err := r.list("")
	refused, unanswered := tried(err)
	switch {
	case unanswered != nil:
		return fmt.Errorf("the database is away, and a reader got no answer: %w", unanswered)
	case refused == nil:
		return errors.New("the database is away, and a reader got quotes")
	case refused.reason != "STORE_UNAVAILABLE" || !refused.retry:
		return fmt.Errorf("the database is away, and a reader is told: %w", refused)
	}
	return nil
}

// within waits for what must end.
func within(done <-chan error) error {
	select {
	case err := <-done:
		return err
	case <-time.After(patience):
		return fmt.Errorf("writers did not come to their end within %v", patience)
	}
}

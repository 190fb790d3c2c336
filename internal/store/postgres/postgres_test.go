package postgres

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/migration"
	"github.com/mouldwright/mouldwright/internal/store/postgres/postgrestest"
	"github.com/mouldwright/mouldwright/internal/store/storetest"
)

// server is one for all tests here: starting one takes longer than what they do with it.
var server *postgrestest.Server

func TestMain(m *testing.M) {
	storetest.Writer(func(ctx context.Context, address string) (store.Store, error) { return Open(ctx, address) })
	os.Exit(postgrestest.Run(m, &server))
}

func open(t testing.TB, address string) *Store {
	t.Helper()
	s, err := Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() }) // it cannot fail
	return s
}

func fresh(t testing.TB) *Store {
	t.Helper()
	return open(t, postgrestest.Address(t, server))
}

// The databases' own order is that of a dictionary, in which A stands beside a: keys keep the
// order of their bytes all the same.
func TestStore(t *testing.T) {
	storetest.Run(t, func(t testing.TB) store.Store {
		t.Helper()
		return open(t, postgrestest.Collated(t, server))
	})
}

func TestTheTablesKeepThePast(t *testing.T) {
	s := fresh(t)
	storetest.Tables(t, s, func(ctx context.Context, statement string) error {
		_, err := s.pool.Exec(ctx, statement)
		return err
	},
		`TRUNCATE history`, `TRUNCATE rate_books CASCADE`, `TRUNCATE quotes CASCADE`, `TRUNCATE serials`, `TRUNCATE partners`, `TRUNCATE keys`, `TRUNCATE revision_meshes`, `TRUNCATE actuals`,
		`INSERT INTO serials (year, last) VALUES (2027, 0) ON CONFLICT (year) DO UPDATE SET last = 0`,
	)
}

// Another program that writes a draft waits for one that issues it, and is refused then.
func TestWhatIsBeingIssuedIsFrozen(t *testing.T) {
	s := fresh(t)
	storetest.Fill(t, s)
	var drafts int
	const draft = `SELECT r.year, r.serial, r.revision FROM revisions r WHERE NOT is_frozen(r.year, r.serial, r.revision) LIMIT 1`
	if err := s.pool.QueryRow(t.Context(), `SELECT count(*) FROM (`+draft+`) d`).Scan(&drafts); err != nil || drafts != 1 {
		t.Fatalf("no draft: %v", err)
	}
	issuing, err := s.pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var year, serial, revision int
	err = issuing.QueryRow(t.Context(), `INSERT INTO history (year, serial, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day)
		SELECT d.year, d.serial, 99, 'issue', d.revision, '', '', '', '', 0, '' FROM (`+draft+`) d RETURNING year, serial, revision`).Scan(&year, &serial, &revision)
	if err != nil {
		t.Fatal(err)
	}
	refused := make(chan error, 1)
	go func() {
		_, err := s.pool.Exec(t.Context(), `UPDATE revisions SET fingerprint = 'x' WHERE year = $1 AND serial = $2 AND revision = $3`, year, serial, revision)
		refused <- err
	}()
	for waiting := 0; waiting == 0 && len(refused) == 0; {
		err := s.pool.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`).Scan(&waiting)
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := issuing.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := <-refused; err == nil || !strings.Contains(err.Error(), "what was issued is frozen") {
		t.Errorf("got %v", err)
	}
}

// Servers that start together bring the database to the newest form once, and share its numbers.
func TestSeveralServers(t *testing.T) {
	address := postgrestest.Address(t, server)
	stores, errs := make([]store.Store, 3), make([]error, 3)
	done := make(chan struct{})
	for i := range stores {
		go func() {
			var s *Store
			s, errs[i] = Open(t.Context(), address)
			stores[i] = s
			done <- struct{}{}
		}()
	}
	for range stores {
		<-done
	}
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	storetest.Several(t, stores...)
	for _, s := range stores {
		_ = s.Close()
	}
}

func TestWhatIsKeptIsThereAgain(t *testing.T) {
	address := postgrestest.Address(t, server)
	first := open(t, address)
	want := storetest.Fill(t, first)
	_ = first.Close()
	storetest.Holds(t, open(t, address), want)
}

func TestANewerDatabase(t *testing.T) {
	address := postgrestest.Address(t, server)
	s := open(t, address)
	if _, err := s.pool.Exec(t.Context(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9000, true)`); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), address)
	var newer migration.NewerError
	if !errors.As(err, &newer) || newer.Database != 9000 || !strings.Contains(err.Error(), "use the program that wrote it") {
		t.Errorf("got %v", err)
	}
}

// A database that takes no writes, that ends a connection, or that is not there is not
// available, and what was kept is there when it is back.
func TestTheDatabaseIsAway(t *testing.T) {
	if server == nil {
		postgrestest.Address(t, server) // says why not
	}
	own, err := postgrestest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = own.Stop() }() // it may be down already
	address := postgrestest.Address(t, own)
	s := open(t, address)
	want := storetest.Fill(t, s)
	readOnly := open(t, address+" default_transaction_read_only=on")
	for name, s := range map[string]*Store{"read only": readOnly, "cut off": s} {
		err := s.Update(t.Context(), func(tx store.Tx) error {
			if name == "cut off" {
				if err := own.Stall(); err != nil {
					t.Fatal(err)
				}
			}
			_, err := tx.AddRateBook(store.RateBook{Revision: name})
			return err
		})
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Open(t.Context(), address); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("not there: %v", err)
	}
	if err := own.Again(); err != nil {
		t.Fatal(err)
	}
	storetest.Holds(t, s, want)
}

func TestCrash(t *testing.T) {
	if server == nil {
		postgrestest.Address(t, server) // says why not
	}
	own, err := postgrestest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := own.Stop(); err != nil {
			t.Error(err)
		}
	}()
	address := postgrestest.Address(t, own)
	storetest.Outage(t, own.Crash, own.Again, func(t testing.TB) store.Store { return open(t, address) })
}

func TestKilled(t *testing.T) {
	address := postgrestest.Address(t, server)
	storetest.Crash(t, address, func(t testing.TB) store.Store { return open(t, address) })
}

// Statements go out together with the end of the transaction: where one fails, it does not end
// well, and the connection is as good as before.
func TestWhatFailsAtTheEndIsNotKept(t *testing.T) {
	s := fresh(t)
	want := storetest.Fill(t, s)
	for _, statement := range []string{
		`CREATE FUNCTION no() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'no revision'; END; $$`,
		`CREATE TRIGGER no BEFORE INSERT ON revisions EXECUTE FUNCTION no()`,
	} {
		if _, err := s.pool.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	for range 10 {
		var q store.Quote
		err := s.Update(t.Context(), func(tx store.Tx) (err error) {
			q, err = tx.Create("", 2027, store.Content{RateBook: "2027-01"}, life.Mark{On: "2027-01-04"})
			return err
		})
		if err == nil || !strings.Contains(err.Error(), "no revision") {
			t.Errorf("got %v", err)
		}
		if got, wanted := q.Number.Serial, len(want)+1; got != wanted {
			t.Errorf("number %d, want %d", got, wanted)
		}
	}
	storetest.Holds(t, s, want)
	if stats := s.pool.Stat(); stats.NewConnsCount() > int64(stats.MaxConns()) {
		t.Errorf("%d connections were opened", stats.NewConnsCount())
	}
}

// A connection that does not wait for the disk is refused, whoever told it so, and one that
// waits for more goes on doing so, also after locks were freed early.
func TestWhatIsAcknowledgedIsOnTheDisk(t *testing.T) {
	for what, told := range map[string]string{
		"the database":         `ALTER DATABASE %s SET synchronous_commit = off`,
		"the role":             `ALTER ROLE postgres IN DATABASE %s SET synchronous_commit = off`,
		"the role, as boolean": `ALTER ROLE postgres IN DATABASE %s SET synchronous_commit = false`,
	} {
		address := postgrestest.Address(t, server)
		running := open(t, address)
		var name string
		if err := running.pool.QueryRow(t.Context(), `SELECT current_database()`).Scan(&name); err != nil {
			t.Fatal(err)
		}
		if _, err := running.pool.Exec(t.Context(), fmt.Sprintf(told, name)); err != nil {
			t.Fatal(err)
		}
		_, err := Open(t.Context(), address)
		refusesToLose(t, what, err)
		running.pool.Reset() // its next connection is a new one
		refusesToLose(t, what+", meanwhile", running.Update(t.Context(), func(tx store.Tx) error { _, err := tx.AddRateBook(store.RateBook{Revision: "a"}); return err }))
	}
	_, err := Open(t.Context(), postgrestest.Address(t, server)+" synchronous_commit=off")
	refusesToLose(t, "the address", err)
	for _, waits := range []string{"local", "remote_write", "on", "remote_apply"} {
		s := open(t, postgrestest.Address(t, server)+" pool_max_conns=1 synchronous_commit="+waits)
		s.writing.Add(1) // as if somebody else wrote
		storetest.Fill(t, s)
		var got, by string
		err := s.pool.QueryRow(t.Context(), `SELECT setting, source FROM pg_settings WHERE name = 'synchronous_commit'`).Scan(&got, &by)
		if got != waits || by != "session" || err != nil {
			t.Errorf("%s: %s by %s, %v", waits, got, by, err)
		}
	}
}

// What is in the tables and was changed there is not given out as what was kept.
func TestDamage(t *testing.T) {
	s := fresh(t)
	storetest.Damage(t, s, func(ctx context.Context, statement string) error {
		_, err := s.pool.Exec(ctx, statement)
		return err
	}, `DROP TRIGGER %[2]s ON %[1]s`)
}

// What PostgreSQL calls damaged is damaged, and not away.
func TestDamagedFiles(t *testing.T) {
	s := fresh(t)
	for _, code := range []string{"data_corrupted", "index_corrupted"} {
		err := s.View(t.Context(), func(store.Reader) error {
			_, err := s.pool.Exec(t.Context(), `DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = '`+code+`'; END $$`)
			return meaning(t.Context(), err)
		})
		if !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: %v", code, err)
		}
	}
}

// Whoever is given an answer of before takes it for kept: so it waits for the disk, also where
// locks were freed early by the one who wrote it.
func TestAnAnswerOfBeforeIsOnTheDisk(t *testing.T) {
	address := postgrestest.Address(t, server)
	s := open(t, address)
	r := store.Request{Caller: "fair", ID: "1"}
	err := s.Update(t.Context(), func(tx store.Tx) error {
		claim, err := tx.Begin(r, time.Unix(0, 0), time.Hour)
		if err != nil {
			return err
		}
		return tx.Finish(claim, []byte("the answer"))
	})
	if err != nil {
		t.Fatal(err)
	}
	for name, s := range map[string]*Store{"": s, "read only": open(t, address+" default_transaction_read_only=on")} {
		var before string
		if err := s.pool.QueryRow(t.Context(), `SELECT pg_current_wal_insert_lsn()::text`).Scan(&before); err != nil {
			t.Fatal(err)
		}
		err := s.View(t.Context(), func(tx store.Reader) error {
			got, err := tx.Answered(r)
			if string(got.Answer) != "the answer" {
				t.Errorf("%s: %+v", name, got)
			}
			return err
		})
		var waited bool
		if err == nil {
			err = s.pool.QueryRow(t.Context(), `SELECT pg_current_wal_flush_lsn() > $1::pg_lsn`, before).Scan(&waited)
		}
		if err != nil || !waited {
			t.Errorf("%s: it did not wait: %v", name, err)
		}
	}
}

func refusesToLose(t *testing.T, what string, err error) {
	t.Helper()
	if !errors.Is(err, store.ErrUnavailable) || !strings.Contains(err.Error(), "synchronous_commit is off") {
		t.Errorf("%s: %v", what, err)
	}
}

// A database that breaks off every transaction is given up on in the end.
func TestItIsNotTriedForever(t *testing.T) {
	s := fresh(t)
	runs := 0
	err := s.Update(t.Context(), func(tx store.Tx) error {
		runs++
		if _, err := tx.AddRateBook(store.RateBook{Revision: "a"}); err != nil {
			return err
		}
		return s.breakOff(t)
	})
	if runs != tries || !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("after %d runs: %v", runs, err)
	}
}

// breakOff is the error of a deadlock, made by PostgreSQL itself.
func (s *Store) breakOff(t *testing.T) error {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), `DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = 'deadlock_detected'; END $$`)
	if err == nil {
		t.Fatal("nothing was raised")
	}
	return err
}

// BenchmarkQuote creates and issues a quote; its two transactions are set against two bare
// inserts of as many bytes, each as durable where MOULDWRIGHT_FSYNC is set.
func BenchmarkQuote(b *testing.B) {
	for _, writers := range []int{1, 8} {
		b.Run(fmt.Sprintf("%d writers", writers), func(b *testing.B) {
			s := fresh(b)
			if _, err := s.pool.Exec(b.Context(), `CREATE TABLE bare (id BIGSERIAL PRIMARY KEY, document BYTEA NOT NULL)`); err != nil {
				b.Fatal(err)
			}
			storetest.Ratio(b, s, writers, func(document []byte) error {
				_, err := s.pool.Exec(b.Context(), `INSERT INTO bare (document) VALUES ($1)`, document)
				return err
			})
		})
	}
}

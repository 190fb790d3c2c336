package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/postgres"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
)

// migrate brings a store to the newest version.
func (p *program) migrate(ctx context.Context, args []string) error {
	f := p.flags("migrate [flags]", "Brings a store to the newest version that this program knows, as every command that opens it does, and says from which.")
	at := f.String("store", defaultStore, storeHelp)
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(words) > 0 {
		return p.misused(fmt.Sprintf("migrate takes flags only, got %q; see mouldwright migrate --help", words[0]))
	}
	if err := isThere(*at); err != nil {
		return err
	}
	before, newest, err := version(ctx, *at)
	if err != nil {
		return err
	}
	kept, err := openStore(ctx, *at) // refuses a store that is newer
	if err != nil {
		return err
	}
	if before == newest {
		fmt.Fprintf(p.stdout, "%s is of version %d, which is the newest\n", shown(*at), newest)
	} else {
		fmt.Fprintf(p.stdout, "%s was of version %d and is of version %d\n", shown(*at), before, newest)
	}
	return kept.Close()
}

func version(ctx context.Context, at string) (current, newest int64, err error) {
	if inPostgres(at) {
		return postgres.Version(ctx, at)
	}
	return sqlite.Version(ctx, at)
}

// backup copies a store that may be in use.
func (p *program) backup(ctx context.Context, args []string) error {
	f := p.flags("backup FILE [flags]", "Copies a store to a FILE that there is not yet, as of one moment, while the service goes on. The copy is of the store's version.")
	at := f.String("store", defaultStore, storeHelp)
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return p.misused(fmt.Sprintf("backup takes one file, got %d; see mouldwright backup --help", len(words)))
	}
	if inPostgres(*at) {
		return fmt.Errorf("PostgreSQL is backed up by its own tools, here with the password in ~/.pgpass or PGPASSWORD: pg_dump --format=custom --file=%s %s", quoted(words[0]), quoted(shown(*at)))
	}
	if err := isThere(*at); err != nil {
		return err
	}
	if err := sqlite.Copy(ctx, *at, words[0]); err != nil {
		return taken(words[0], err)
	}
	fmt.Fprintf(p.stdout, "%s is backed up to %s\n", *at, words[0])
	return nil
}

// taken says in one sentence that nothing is written over.
func taken(file string, err error) error {
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s is there already, and nothing is written over; give a new name", file)
	}
	return err
}

// restore makes a new store of a backup.
func (p *program) restore(ctx context.Context, args []string) error {
	f := p.flags("restore FILE --store NEW", "Checks the backup in FILE, all that has a sum or a history, and copies it to a new store. A store that is there is never written over.")
	at := f.String("store", "", "the new SQLite `file`")
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 || *at == "" {
		return p.misused("restore takes the backup's file, and --store with the new one; see mouldwright restore --help")
	}
	if inPostgres(*at) {
		return fmt.Errorf("PostgreSQL is restored by its own tools, here with the password in ~/.pgpass or PGPASSWORD: pg_restore --exit-on-error --single-transaction --dbname=%s %s", quoted(shown(*at)), quoted(words[0]))
	}
	if err := isFile(*at); err != nil {
		return err
	}
	from, err := filepath.Abs(words[0])
	if err != nil {
		return err
	}
	to, err := filepath.Abs(*at)
	if err != nil {
		return err
	}
	if err := sqlite.Restore(ctx, from, to); err != nil {
		return unsound(taken(*at, err))
	}
	fmt.Fprintf(p.stdout, "%s is restored from %s\n", *at, words[0])
	return nil
}

// unsound says what to do about a backup that is damaged.
func unsound(err error) error {
	if errors.Is(err, store.ErrDamaged) {
		return fmt.Errorf("%w. Nothing was restored: take another backup. To save what is sound in this one, work on a copy of it: mouldwright recompute --all --store COPY says which quotes are whole; where it cannot be opened, sqlite3 COPY .recover writes out what can be read", err)
	}
	return err
}

// quoted is a word as a shell takes it.
func quoted(word string) string { return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'" }

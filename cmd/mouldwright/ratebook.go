package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const aboutRateBooks = "check finds every fault of the rate book in FILE. export prints the demo rate book; with --store, the REVISION of that store, or the one\n" +
	"in force. import checks the rate book in FILE and keeps it as the one in force, in " + defaultStore + " unless --store says otherwise; a revision is kept for good and never changed."

func (p *program) ratebook(ctx context.Context, args []string) error {
	f := p.flags("ratebook check FILE | export [REVISION] [--store S] | import FILE [--store S]", aboutRateBooks)
	at := f.String("store", "", storeHelp)
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	switch {
	case len(words) == 2 && words[0] == "check":
		return p.checkRateBook(words[1])
	case len(words) == 1 && words[0] == "export" && *at == "":
		_, err := p.stdout.Write(demo.Document())
		return err
	case (len(words) == 1 || len(words) == 2) && words[0] == "export" && *at != "":
		return p.exportRateBook(ctx, *at, strings.Join(words[1:], ""))
	case len(words) == 2 && words[0] == "import":
		return p.importRateBook(ctx, cmp.Or(*at, defaultStore), words[1])
	default:
		return p.misused("ratebook takes check FILE, or export, or import FILE, or with --store export REVISION; see mouldwright ratebook --help")
	}
}

func (p *program) checkRateBook(file string) error {
	book, err := readRateBook(file)
	if err != nil {
		return err
	}
	e := book.Edition
	fmt.Fprintf(p.stdout, "%s, revision %s: no faults; %d materials, %d operations, %d finishes, %d laminates\n",
		e.Studio, e.Revision, len(e.Materials), len(e.Operations), len(e.Finishes), len(e.Laminates))
	return nil
}

func readRateBook(file string) (*desk.Book, error) {
	doc, err := readFile(file, mostRateBook)
	if err != nil {
		return nil, err
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return nil, err
	}
	book, faults := desk.OpenBook(doc, rules)
	if err := faults.Err(); err != nil {
		return nil, fmt.Errorf("%s has faults:\n%w", file, err)
	}
	return book, nil
}

// exportRateBook prints a revision as it was kept, whether or not this program could still use it.
func (p *program) exportRateBook(ctx context.Context, at, revision string) (err error) {
	kept, err := openKept(ctx, at)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	var book store.RateBook
	err = kept.View(ctx, func(r store.Reader) (err error) {
		book, err = revisionOf(r, strings.TrimPrefix(revision, bookcase.Prefix))
		return err
	})
	if err != nil {
		return err
	}
	var lines bytes.Buffer
	if err := json.Indent(&lines, book.Document, "", "  "); err != nil {
		return fmt.Errorf("rate book revision %s cannot be read: %w", book.Revision, err)
	}
	lines.WriteByte('\n')
	_, err = lines.WriteTo(p.stdout)
	return err
}

// revisionOf reads a revision of the rate book; the one in force where none is named.
func revisionOf(r store.Reader, revision string) (store.RateBook, error) {
	if revision == "" || revision == strings.TrimPrefix(bookcase.Current, bookcase.Prefix) {
		newest, err := r.RateBooks(store.RateBook{}, 1, store.Studio())
		if err != nil {
			return store.RateBook{}, err
		}
		if len(newest) == 0 {
			return store.RateBook{}, bookcase.ErrNone
		}
		revision = newest[0].Revision
	}
	book, err := r.RateBook(revision, store.Studio())
	if errors.Is(err, store.ErrNotFound) {
		return book, fmt.Errorf("there is no rate book revision %q in this store", revision)
	}
	return book, err
}

func (p *program) importRateBook(ctx context.Context, at, file string) (err error) {
	book, err := readRateBook(file)
	if err != nil {
		return err
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return err
	}
	kept, err := openStore(ctx, at)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	books, err := bookcase.New(kept, rules, time.Now)
	if err != nil {
		return err
	}
	if err := begin(ctx, books, book); err != nil {
		return err
	}
	inForce, err := books.Find(ctx, bookcase.Current)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.stdout, "%s holds rate book revision %s; in force is %s\n", shown(at), book.Edition.Revision, inForce.Edition.Revision)
	return nil
}

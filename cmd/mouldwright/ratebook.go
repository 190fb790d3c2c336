package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/server"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const aboutRateBooks = "check finds every fault of the rate book in FILE; with --store it also says what the book would make of the open quotes of that store, and which partners'\n" +
	"terms would not fit it. export prints the demo rate book; with --store, the REVISION of that store, or the one\n" +
	"in force. import checks the rate book in FILE and keeps it as the one in force, in " + defaultStore + " unless --store says otherwise; a revision is kept for good and never changed."

func (p *program) ratebook(ctx context.Context, args []string) error {
	f := p.flags("ratebook check FILE [--store S] | export [REVISION] [--store S] | import FILE [--store S]", aboutRateBooks)
	at := f.String("store", "", storeHelp)
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	switch {
	case len(words) == 2 && words[0] == "check":
		return p.checkRateBook(ctx, *at, words[1])
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

func (p *program) checkRateBook(ctx context.Context, at, file string) (err error) {
	book, err := readRateBook(file)
	if err != nil {
		return err
	}
	e := book.Edition
	fmt.Fprintf(p.stdout, "%s, revision %s: no faults; %d materials, %d operations, %d finishes, %d laminates\n",
		e.Studio, e.Revision, len(e.Materials), len(e.Operations), len(e.Finishes), len(e.Laminates))
	if at == "" {
		return nil
	}
	kept, err := openKept(ctx, at)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	trial, err := server.TryRateBook(ctx, server.Config{Store: kept}, book.Document)
	if err != nil {
		return err
	}
	if err := writeOpenQuotes(p.stdout, trial); err != nil {
		return err
	}
	return writeUnfitPartners(p.stdout, trial.GetPartnerFaults(), trial.GetMorePartnerFaults())
}

// writeOpenQuotes tells what a rate book makes of the open quotes: a table of their net prices,
// and below it why some have none.
func writeOpenQuotes(out io.Writer, trial *mouldwrightv1.CheckRateBookResponse) error {
	changes := trial.GetOpenQuotes()
	fmt.Fprintf(out, "\nopen quotes %d, of which it can price %d%s\n", len(changes), trial.GetPricedQuoteCount(), andMore(trial.GetMoreOpenQuotes()))
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	if len(changes) > 0 {
		fmt.Fprintln(table, "quote\trevision\tkept\tthen\tdifference\t")
	}
	for _, c := range changes {
		fmt.Fprintf(table, "%s\t%d\t%s\t%s\t%s\t\n", quoteNumber(c), c.GetRevision(), money(c.GetNetKept()), money(c.GetNetThen()), money(c.GetDifference()))
	}
	err := table.Flush()
	for _, c := range changes {
		for _, f := range c.GetFaults() {
			_, failed := fmt.Fprintf(out, "%s cannot be priced: %s\n", quoteNumber(c), faultWords(f))
			err = cmp.Or(err, failed)
		}
	}
	return err
}

func quoteNumber(c *mouldwrightv1.OpenQuoteChange) string {
	return strings.TrimPrefix(c.GetQuote(), wire.QuotePrefix)
}

// money is an amount with its currency; a hyphen where there is none.
func money(m *mouldwrightv1.Money) string {
	if m == nil {
		return "-"
	}
	return m.GetAmount() + " " + m.GetCurrencyCode()
}

func faultWords(f *mouldwrightv1.RateBookFault) string {
	return strings.TrimPrefix(f.GetPath()+": "+f.GetMessage(), ": ")
}

func andMore(more bool) string {
	if more {
		return "; there are more"
	}
	return ""
}

// writeUnfitPartners lists the partners whose terms do not fit a rate book, if there are any.
func writeUnfitPartners(out io.Writer, unfit []*mouldwrightv1.PartnerFaults, more bool) error {
	if len(unfit) == 0 && !more {
		return nil
	}
	_, err := fmt.Fprintf(out, "\npartners whose terms do not fit it: %d%s; while it is in force their briefs are refused until the terms are mended\n", len(unfit), andMore(more))
	for _, partner := range unfit {
		for _, f := range partner.GetFaults() {
			_, failed := fmt.Fprintf(out, "%s %s\n", strings.TrimPrefix(partner.GetPartner(), wire.PartnerPrefix), faultWords(f))
			err = cmp.Or(err, failed)
		}
	}
	return err
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
	if inForce.Edition.Revision != book.Edition.Revision {
		fmt.Fprintf(p.stdout, "%s was kept before and is not in force: the newest is. To bring its content back into force give it a revision of its own and import that.\n", book.Edition.Revision)
		return nil
	}
	unfit, more, err := server.UnfitPartners(ctx, server.Config{Store: kept}, inForce)
	if err != nil {
		return err
	}
	return writeUnfitPartners(p.stdout, unfit, more)
}

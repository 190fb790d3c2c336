package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/postgres/postgrestest"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// smallBrief is a brief that is soon priced.
const smallBrief = `{"title":"A ball by the gate","client":"Fernhollow Arboretum","pieces":[{"code":"ball","name":"Ball","quantity":1,"finish":"gloss","colour":"red",
	"form":{"solids":[{"sphere":{"diameterMm":400}}]}}]}`

// keptQuote is as much of a kept quote as these tests look at.
type keptQuote struct {
	Name, State string
	Brief       struct{ PreparedOn string }
}

func (q keptQuote) number() string { return strings.TrimPrefix(q.Name, "quotes/") }

func posted(t *testing.T, s served, path, body string) keptQuote {
	t.Helper()
	status, text := asked(t, http.DefaultClient, http.MethodPost, "http://"+s.address+"/v1/"+path, "", []byte(body))
	var answer struct{ Quote keptQuote }
	if err := json.Unmarshal(text, &answer); err != nil || status != http.StatusOK {
		t.Fatalf("%s: %d %s", path, status, text)
	}
	return answer.Quote
}

func created(t *testing.T, s served, brief string) keptQuote {
	t.Helper()
	return posted(t, s, "quotes", `{"brief":`+brief+`}`)
}

// hookBrief is of a mesh that uploadHook uploads.
const hookBrief = `{"title":"A hook","pieces":[{"code":"hook","name":"Hook","quantity":1,"finish":"gloss","colour":"red","form":{"mesh":{"mesh":"meshes/hook","scale":8}}}]}`

func uploadHook(t *testing.T, s served) {
	t.Helper()
	file, err := os.ReadFile("../../testdata/meshes/public/p06_undercut_hook.stl")
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.Post("http://"+s.address+"/v1/meshes?meshId=hook&unit=mm", "model/stl", bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	if err := answer.Body.Close(); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%d: %v", answer.StatusCode, err)
	}
}

// quotesIn fills a store with quotes in all states but expired; some are revised, to another brief.
func quotesIn(t *testing.T, at, revised string) {
	t.Helper()
	s, _ := serve(t, "--store", at)
	defer s.stop()
	if revised == hookBrief {
		uploadHook(t, s)
	}
	for _, acts := range [][]string{{}, {"issue"}, {"issue", "accept"}, {"issue", "decline"}, {"issue", "revise"}, {"issue", "revise", "issue"}} {
		q := created(t, s, smallBrief)
		for _, act := range acts {
			body := `{}`
			if act == "revise" {
				body = `{"brief":` + revised + `}`
			}
			posted(t, s, q.Name+":"+act, body)
		}
	}
}

func TestRecompute(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	quotesIn(t, at, hookBrief)
	got := run(t, nil, "recompute", "--all", "--store", at)
	if got.status != 0 || strings.Count(got.out, ": the same, ") != 8 || !strings.HasSuffix(got.out, "quotes 6, revisions the same 8, differing 0, not to be proved 0\n") {
		t.Errorf("status %d:\n%s%s", got.status, got.out, got.errors)
	}
	for _, state := range []string{"draft", "issued", "accepted", "declined", "superseded"} {
		if !strings.Contains(got.out, ", "+state+": the same") {
			t.Errorf("none is %s in:\n%s", state, got.out)
		}
	}
	lines := strings.Split(got.out, "\n")
	newest := strings.Fields(lines[0])[0]
	got = run(t, map[string]string{"MOULDWRIGHT_STORE": at}, "recompute", newest, "Q-1999-0001")
	if got.status != 1 || !strings.Contains(got.out, lines[0]) || !strings.Contains(got.out, "Q-1999-0001: cannot be proved: ") || !strings.Contains(got.out, "quotes 2, ") {
		t.Errorf("by numbers: status %d:\n%s", got.status, got.out)
	}
}

// forged keeps a quote whose document is of another brief than its own.
func forged(t *testing.T, at string) {
	t.Helper()
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(demo.Document(), rules)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	dated := func(brief string) store.Content {
		pb := decoded(t, []byte(brief))
		pb.PreparedOn = "2027-03-01"
		content, _, err := ledger.Price(book, pb)
		if err != nil {
			t.Fatal(err)
		}
		return content
	}
	content := dated(smallBrief)
	content.Document = dated(strings.Replace(smallBrief, "400", "500", 1)).Document
	kept, err := sqlite.Open(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	err = kept.Update(t.Context(), func(tx store.Tx) error {
		_, err := tx.Create("", 2027, content, life.Mark{By: life.Actor{Kind: "studio", Name: "Forger"}, At: time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC), On: "2027-03-01"})
		return err
	})
	if err := errors.Join(err, kept.Close()); err != nil {
		t.Fatal(err)
	}
}

// raw runs statements on a store's file behind the program's back.
func raw(t *testing.T, at string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", at)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range statements {
		if _, err := db.ExecContext(t.Context(), s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// A document that was exchanged differs; one that was altered in its file is damaged; and the
// others are proved all the same.
func TestRecomputeFindsWhatWasTamperedWith(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	s, _ := serve(t, "--store", at)
	whole, altered := created(t, s, smallBrief), created(t, s, smallBrief)
	s.stop()
	forged(t, at)
	raw(t, at, `DROP TRIGGER revisions_frozen`, fmt.Sprintf(`UPDATE revisions SET document = zeroblob(length(document)) WHERE 'Q-' || year || '-' || substr('0000' || serial, -4) = '%s'`, altered.number()))
	got := run(t, nil, "recompute", "--all", "--store", at)
	if got.status != 1 || !strings.Contains(got.errors, "2 of what was to be proved") {
		t.Errorf("status %d, %s", got.status, got.errors)
	}
	for _, want := range []string{
		whole.number() + " revision 1, draft: the same", altered.number() + " revision 1, draft: cannot be proved: ", "damaged",
		" revision 1, draft: differs; kept ", "quotes 3, revisions the same 1, differing 1, not to be proved 1\n",
	} {
		if !strings.Contains(got.out, want) {
			t.Errorf("not told %q in:\n%s", want, got.out)
		}
	}
}

// A backup in which a document is not as it was is not restored, and what can be done is said.
func TestADamagedBackupIsNotRestored(t *testing.T) {
	folder := t.TempDir()
	at, copied, restored := filepath.Join(folder, "studio.db"), filepath.Join(folder, "copy.db"), filepath.Join(folder, "restored.db")
	s, _ := serve(t, "--store", at)
	whole, altered := created(t, s, smallBrief), created(t, s, smallBrief)
	s.stop()
	if got := run(t, nil, "backup", copied, "--store", at); got.status != 0 {
		t.Fatalf("backup: status %d: %s", got.status, got.errors)
	}
	raw(t, copied, `DROP TRIGGER revisions_frozen`, fmt.Sprintf(`UPDATE revisions SET document = zeroblob(length(document)) WHERE 'Q-' || year || '-' || substr('0000' || serial, -4) = '%s'`, altered.number()))
	got := run(t, nil, "restore", copied, "--store", restored)
	for _, want := range []string{"revision 1 of quote " + altered.number() + " is not as its sum says", "take another backup", "recompute --all"} {
		if got.status != 1 || !strings.Contains(got.errors, want) {
			t.Errorf("status %d, without %q: %s", got.status, want, got.errors)
		}
	}
	if strings.Contains(got.errors, whole.number()) {
		t.Errorf("the other is named as well: %s", got.errors)
	}
	if _, err := os.Stat(restored); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is %s: %v", restored, err)
	}
}

// A backup is made while the service writes; a store is made of it, read, proved and gone on with.
func TestABackupWhileOthersWrite(t *testing.T) {
	folder := t.TempDir()
	at, copied, restored := filepath.Join(folder, "studio.db"), filepath.Join(folder, "copy.db"), filepath.Join(folder, "restored.db")
	s, _ := serve(t, "--store", at)
	first := created(t, s, smallBrief)
	posted(t, s, first.Name+":issue", `{}`)
	count := writing(t, s, func() {
		if got := run(t, nil, "backup", copied, "--store", at); got.status != 0 || !strings.Contains(got.out, copied) {
			t.Errorf("backup: status %d: %s", got.status, got.errors)
		}
	})
	if got := run(t, nil, "backup", copied, "--store", at); got.status != 1 || !strings.Contains(got.errors, "nothing is written over") {
		t.Errorf("over another: status %d: %s", got.status, got.errors)
	}
	if got := run(t, nil, "restore", copied, "--store", restored); got.status != 0 {
		t.Fatalf("restore: status %d: %s", got.status, got.errors)
	}
	if got := run(t, nil, "restore", copied, "--store", restored); got.status != 1 || !strings.Contains(got.errors, "nothing is written over") {
		t.Errorf("over another: status %d: %s", got.status, got.errors)
	}
	got := run(t, nil, "recompute", "--all", "--store", restored)
	var quotes int
	if _, err := fmt.Sscanf(got.out[strings.LastIndex(got.out, "quotes"):], "quotes %d", &quotes); err != nil || got.status != 0 || quotes < 1 || quotes > 1+count {
		t.Errorf("of %d quotes: status %d:\n%s%s", 1+count, got.status, got.out, got.errors)
	}
	if !strings.Contains(got.out, first.number()+" revision 1, issued: the same") {
		t.Errorf("the first is not in:\n%s", got.out)
	}
	other, _ := serve(t, "--store", restored)
	if next := created(t, other, smallBrief); !strings.HasSuffix(next.Name, fmt.Sprintf("-%04d", quotes+1)) {
		t.Errorf("after %d comes %s", quotes, next.Name)
	}
}

// writing does something while quotes are created, and says how many were.
func writing(t *testing.T, s served, do func()) (count int) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	var busy sync.WaitGroup
	begun := make(chan struct{})
	busy.Go(func() {
		for ctx.Err() == nil {
			answer, err := http.Post("http://"+s.address+"/v1/quotes", "application/json", strings.NewReader(`{"brief":`+smallBrief+`}`))
			if err != nil || answer.StatusCode != http.StatusOK {
				t.Errorf("while others write: %v", err)
			}
			if err == nil {
				_ = answer.Body.Close()
			}
			if count++; count == 1 {
				close(begun)
			}
		}
	})
	<-begun
	do()
	cancel()
	busy.Wait()
	return count
}

func TestCallsOfStoresThatAreWrong(t *testing.T) {
	folder := t.TempDir()
	none, text := filepath.Join(folder, "none.db"), filepath.Join(folder, "text")
	if err := os.WriteFile(text, bytes.Repeat([]byte("no database "), 100), 0o600); err != nil {
		t.Fatal(err)
	}
	const there = "postgres://studio:hush@db/quotes?sslpassword=hush"
	for name, row := range map[string]struct {
		args   []string
		status int
		says   string
	}{
		"migrate nothing":       {[]string{"migrate", "--store", none}, 1, "there is no store"},
		"migrate words":         {[]string{"migrate", "now"}, 2, "flags only"},
		"migrate no database":   {[]string{"migrate", "--store", text}, 1, "not a database"},
		"back up nothing":       {[]string{"backup", "x", "--store", none}, 1, "there is no store"},
		"back up nowhere":       {[]string{"backup", "--store", none}, 2, "one file, got 0"},
		"back up PostgreSQL":    {[]string{"backup", "it's", "--store", there}, 1, `pg_dump --format=custom --file='it'\''s' 'postgres://studio@db/quotes'`},
		"restore nothing":       {[]string{"restore", none, "--store", filepath.Join(folder, "new.db")}, 1, none},
		"restore to nowhere":    {[]string{"restore", text}, 2, "--store"},
		"restore no database":   {[]string{"restore", text, "--store", filepath.Join(folder, "new.db")}, 1, "not a sound database"},
		"restore to PostgreSQL": {[]string{"restore", "dump", "--store", there}, 1, "pg_restore"},
		"recompute nothing":     {[]string{"recompute", "--store", text}, 2, "--all"},
		"recompute both":        {[]string{"recompute", "Q-2027-0001", "--all"}, 2, "--all"},
		"recompute no number":   {[]string{"recompute", "2027-1"}, 2, "Q-2027-0001"},
		"recompute no store":    {[]string{"recompute", "--all", "--store", none}, 1, "there is no store"},
		"export no store":       {[]string{"ratebook", "export", "--store", none}, 1, "there is no store"},
		"export without store":  {[]string{"ratebook", "export", "demo"}, 2, "--store"},
		"import no file":        {[]string{"ratebook", "import", none, "--store", none}, 1, none},
	} {
		t.Run(name, func(t *testing.T) {
			got := run(t, nil, row.args...)
			if got.status != row.status || !strings.Contains(got.errors, row.says) || strings.Contains(got.errors, "hush") || got.out != "" {
				t.Errorf("status %d, want %d; printed %q, said:\n%s", got.status, row.status, got.out, got.errors)
			}
		})
	}
	if left, err := filepath.Glob(filepath.Join(folder, "n*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestMigrate(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	if err := os.WriteFile(at, nil, 0o600); err != nil { // an empty file is an empty database
		t.Fatal(err)
	}
	var newest int
	got := run(t, nil, "migrate", "--store", at)
	if _, err := fmt.Sscanf(strings.TrimPrefix(got.out, at), " was of version 0 and is of version %d", &newest); err != nil || got.status != 0 || newest < 5 {
		t.Fatalf("status %d: %s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "migrate", "--store", at); got.status != 0 || got.out != fmt.Sprintf("%s is of version %d, which is the newest\n", at, newest) {
		t.Errorf("again: status %d: %s%s", got.status, got.out, got.errors)
	}
	raw(t, at, fmt.Sprintf(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (%d, 1)`, newest+1))
	for _, command := range [][]string{{"migrate"}, {"serve", "--listen", "127.0.0.1:0", "--without-keys"}, {"recompute", "--all"}} {
		got := run(t, nil, append(command, "--store", at)...)
		if got.status != 1 || !strings.Contains(got.errors, fmt.Sprintf("version %d, and this program knows versions up to %d", newest+1, newest)) {
			t.Errorf("%s of a newer store: status %d: %s", command[0], got.status, got.errors)
		}
	}
	// A copy can be had of it all the same, and is of its version.
	copied := filepath.Join(t.TempDir(), "copy.db")
	if got := run(t, nil, "backup", copied, "--store", at); got.status != 0 {
		t.Errorf("backup of a newer store: status %d: %s", got.status, got.errors)
	}
	if got := run(t, nil, "restore", copied, "--store", copied+"2"); got.status != 1 || !strings.Contains(got.errors, "knows versions up to") {
		t.Errorf("restore of a newer store: status %d: %s", got.status, got.errors)
	}
}

func TestRateBooksGoInAndComeOut(t *testing.T) {
	at, own := filepath.Join(t.TempDir(), "studio.db"), rateBookOf(t, "own-2027.1", "6")
	for range 2 { // the second time it is there
		if got := run(t, nil, "ratebook", "import", own, "--store", at); got.status != 0 || !strings.Contains(got.out, "in force is own-2027.1") {
			t.Fatalf("status %d: %s%s", got.status, got.out, got.errors)
		}
	}
	other := rateBookOf(t, "own-2027.2", "7")
	if got := run(t, nil, "ratebook", "import", other, "--store", at); got.status != 0 || !strings.Contains(got.out, "in force is own-2027.2") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "ratebook", "import", rateBookOf(t, "own-2027.1", "8"), "--store", at); got.status != 1 || !strings.Contains(got.errors, "another rate book as revision own-2027.1") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "ratebook", "import", rateBookOf(t, "own-2027.3", "105"), "--store", at); got.status != 1 || !strings.Contains(got.errors, "wastagePercent: got 105") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
	for revision, file := range map[string]string{"own-2027.1": own, "rateBooks/own-2027.1": own, "own-2027.2": other, "current": other, "": other} {
		args := []string{"ratebook", "export", "--store", at}
		if revision != "" {
			args = append(args, revision)
		}
		back := filepath.Join(t.TempDir(), "back.json")
		if err := os.WriteFile(back, []byte(run(t, nil, args...).out), 0o600); err != nil {
			t.Fatal(err)
		}
		if got := sumOf(t, back); got != sumOf(t, file) {
			t.Errorf("%q comes out as another", revision)
		}
	}
	if got := run(t, nil, "ratebook", "export", "own-2027.9", "--store", at); got.status != 1 || !strings.Contains(got.errors, `no rate book revision "own-2027.9"`) {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
}

// An older book that is kept already does not come into force by being imported again, and that
// is said.
func TestRateBookImportSaysThatAnOlderOneIsNotInForce(t *testing.T) {
	at, old := filepath.Join(t.TempDir(), "studio.db"), rateBookOf(t, "own-2027.1", "6")
	const plain = "own-2027.1 was kept before and is not in force"
	if got := run(t, nil, "ratebook", "import", old, "--store", at); got.status != 0 || strings.Contains(got.out, plain) {
		t.Fatalf("first: status %d: %s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "ratebook", "import", rateBookOf(t, "own-2027.2", "7"), "--store", at); got.status != 0 {
		t.Fatalf("second: status %d: %s", got.status, got.errors)
	}
	got := run(t, nil, "ratebook", "import", old, "--store", at)
	if got.status != 0 || !strings.Contains(got.out, "in force is own-2027.2") || !strings.Contains(got.out, plain) || !strings.Contains(got.out, "a revision of its own") {
		t.Errorf("again: status %d: %s%s", got.status, got.out, got.errors)
	}
}

// partnersIn keeps partners whose terms fit the demo rate book, in a store that there is.
func partnersIn(t *testing.T, at string, terms map[string]string) {
	t.Helper()
	kept, err := sqlite.Open(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	err = kept.Update(t.Context(), func(tx store.Tx) error {
		for id, of := range terms {
			if _, err := tx.AddPartner(store.Partner{ID: id, Title: "A partner", Terms: []byte(of), At: time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)}); err != nil {
				return err
			}
		}
		return nil
	})
	if err := errors.Join(err, kept.Close()); err != nil {
		t.Fatal(err)
	}
}

// rateBookWithout is a rate book like the demo's without one of its tax rates, and dearer.
func rateBookWithout(t *testing.T, revision, tax string) string {
	t.Helper()
	pb := &mouldwrightv1.RateBook{}
	if err := wire.DecodeKept(demo.Document(), pb); err != nil {
		t.Fatal(err)
	}
	pb.Revision = revision
	pb.Policies.TaxRates = slices.DeleteFunc(pb.GetPolicies().GetTaxRates(), func(r *mouldwrightv1.TaxRate) bool { return r.GetCode() == tax })
	for _, s := range pb.GetSkills() {
		s.HourlyRate = "77.00"
	}
	doc, err := wire.Encode(pb)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "book.json")
	if err := os.WriteFile(file, doc, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// A rate book is tried on what a store keeps: what it makes of the open quotes, and whose terms
// it does not fit. Nothing is kept by that, and an import says the same of the partners.
func TestRateBookCheckWithAStore(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	s, _ := serve(t, "--store", at)
	draft := created(t, s, smallBrief)
	exempt := created(t, s, strings.Replace(smallBrief, `"pieces"`, `"tax":"zero","pieces"`, 1))
	settled := created(t, s, smallBrief)
	posted(t, s, settled.Name+":issue", `{}`)
	posted(t, s, settled.Name+":accept", `{}`)
	s.stop()
	partnersIn(t, at, map[string]string{"tamsin-row": `{"tax":"zero"}`, "quillmere": `{"discountPercent":"5"}`})
	book := rateBookWithout(t, "own-2027.1", "zero")

	alone := run(t, nil, "ratebook", "check", book)
	if alone.status != 0 || strings.Count(alone.out, "\n") != 1 {
		t.Errorf("without a store: status %d: %s%s", alone.status, alone.out, alone.errors)
	}
	got := run(t, nil, "ratebook", "check", book, "--store", at)
	for _, want := range []string{
		alone.out, "open quotes 2, of which it can price 1\n", "difference", draft.number(), exempt.number() + " cannot be priced: tax: ",
		"do not fit it: 1; ", "tamsin-row terms.tax: ",
	} {
		if got.status != 0 || !strings.Contains(got.out, want) {
			t.Errorf("status %d, not told %q in:\n%s%s", got.status, want, got.out, got.errors)
		}
	}
	if strings.Contains(got.out, settled.number()) || strings.Contains(got.out, "quillmere") {
		t.Errorf("told too much:\n%s", got.out)
	}
	t.Log("\n" + got.out)
	if got := run(t, nil, "ratebook", "export", "--store", at); strings.Contains(got.out, "own-2027.1") {
		t.Error("a check keeps nothing")
	}
	if got := run(t, nil, "ratebook", "check", book, "--store", at+"x"); got.status != 1 || !strings.Contains(got.errors, "there is no store") {
		t.Errorf("no store: status %d: %s", got.status, got.errors)
	}
	if got := run(t, nil, "ratebook", "import", book, "--store", at); got.status != 0 || !strings.Contains(got.out, "tamsin-row terms.tax: ") || strings.Contains(got.out, "open quotes") {
		t.Errorf("import: status %d: %s%s", got.status, got.out, got.errors)
	}
}

// faltering is a store that answers a number of times and then is away for some.
type faltering struct {
	store.Store
	good, away int
	err        error
}

// View answers, or is away.
func (f *faltering) View(ctx context.Context, do func(store.Reader) error) error {
	if f.good--; f.good < 0 {
		if f.away--; f.away >= 0 {
			return f.err
		}
	}
	return f.Store.View(ctx, do)
}

// A store that is away for a moment says nothing of what it keeps: the command goes on where it
// answers again, and ends where it does not. It never counts that as something not to be proved.
func TestRecomputeIsNotMisledByAnOutage(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	s, _ := serve(t, "--store", at)
	uploadHook(t, s)
	created(t, s, hookBrief)
	s.stop()
	kept, err := sqlite.Open(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = kept.Close() }()
	recomputed := func(f *faltering) (*proving, error) {
		var out bytes.Buffer
		p, err := newProving(f, &out)
		if err != nil {
			t.Fatal(err)
		}
		return p, p.all(t.Context())
	}
	const always = 1 << 30
	whole := &faltering{Store: kept, good: always}
	if p, err := recomputed(whole); err != nil || p.same != 1 {
		t.Fatalf("%+v: %v", p, err)
	}
	views := always - whole.good
	away := func(why error, good int) {
		p, err := recomputed(&faltering{Store: kept, good: good, away: always, err: why})
		if !errors.Is(err, why) || p.unproven+p.differ > 0 {
			t.Errorf("away for good after %d: %v, not to be proved %d, differing %d", good, err, p.unproven, p.differ)
		}
		p, err = recomputed(&faltering{Store: kept, good: good, away: 1, err: why})
		if p.unproven+p.differ > 0 || err == nil && p.same != 1 || err != nil && !errors.Is(err, why) {
			t.Errorf("away once after %d: %v, not to be proved %d, differing %d", good, err, p.unproven, p.differ)
		}
	}
	for good := range views {
		away(fmt.Errorf("%w: gone", store.ErrUnavailable), good)
	}
	away(context.DeadlineExceeded, views/2)
	away(context.Canceled, 1)
}

func sumOf(t *testing.T, file string) string {
	t.Helper()
	book, err := readRateBook(file)
	if err != nil {
		t.Fatal(err)
	}
	return book.Sum
}

// The commands that do not need a file do the same with PostgreSQL.
func TestCommandsWithPostgreSQL(t *testing.T) {
	database, err := postgrestest.Start()
	if errors.Is(err, postgrestest.ErrNotInstalled) && os.Getenv("MOULDWRIGHT_CI") == "" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = database.Stop() }()
	settings, err := database.Database(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	var folder, user, name string
	if _, err := fmt.Sscanf(settings, "host=%s user=%s dbname=%s", &folder, &user, &name); err != nil {
		t.Fatalf("%s: %v", settings, err)
	}
	at := "postgres:///" + name + "?" + url.Values{"host": {folder}, "user": {user}}.Encode()
	if got := run(t, nil, "migrate", "--store", at); got.status != 0 || !strings.Contains(got.out, "was of version 0") {
		t.Fatalf("status %d: %s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "migrate", "--store", at); got.status != 0 || !strings.Contains(got.out, "which is the newest") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
	quotesIn(t, at, strings.Replace(smallBrief, "400", "500", 1))
	got := run(t, nil, "recompute", "--all", "--store", at)
	if got.status != 0 || !strings.HasSuffix(got.out, "quotes 6, revisions the same 8, differing 0, not to be proved 0\n") {
		t.Errorf("status %d:\n%s%s", got.status, got.out, got.errors)
	}
	if got := run(t, nil, "ratebook", "export", "--store", at); got.status != 0 || !strings.Contains(got.out, `"revision"`) {
		t.Errorf("status %d: %s", got.status, got.errors)
	}
}

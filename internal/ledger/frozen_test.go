package ledger_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/store"
)

// go test ./internal/ledger -run Frozen -update writes frozen.json anew. Read the diff.
var update = flag.Bool("update", false, "write the sums of frozen quotes anew")

// manifest is testdata/quotes/frozen.json: what every golden brief is kept as. An issued
// quote can be recomputed for as long as this stays the same.
type manifest struct {
	Engine   int               `json:"engine"`   // the edition of the engine
	RateBook string            `json:"rateBook"` // the SHA-256 of its document
	Quotes   map[string]frozen `json:"quotes"`   // by the name of the brief
}

// frozen is what a brief is kept as: SHA-256 sums, before anything is packed.
type frozen struct {
	Brief       string            `json:"brief"`
	Client      string            `json:"client"` // the page of the client
	Studio      string            `json:"studio"` // the page of the studio
	Fingerprint string            `json:"fingerprint"`
	Meshes      map[string]string `json:"meshes,omitempty"`
}

func hexSum(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func freeze(t *testing.T, c store.Content) frozen {
	t.Helper()
	pages, err := ledger.Unpack(c.Document, ledger.Studio)
	require.NoError(t, err)
	f := frozen{Brief: hexSum(c.Brief), Client: hexSum(pages[0]), Studio: hexSum(pages[1]), Fingerprint: c.Fingerprint}
	for _, ref := range c.Meshes {
		if f.Meshes == nil {
			f.Meshes = map[string]string{}
		}
		f.Meshes[ref.Name] = ref.Sum
	}
	return f
}

var frozenPath = filepath.Join(testdata, "quotes", "frozen.json")

// Every golden quote comes out byte for byte as it was frozen, on every processor.
func TestLedgerFrozenQuotes(t *testing.T) {
	s := newStudio(t)
	now := manifest{Engine: estimate.Engine, RateBook: s.book.Sum, Quotes: map[string]frozen{}}
	for _, name := range golden(t) {
		c, _ := s.priced(t, s.brief(t, name))
		now.Quotes[name] = freeze(t, c)
	}
	if *update {
		writeJSON(t, frozenPath, now)
	}
	var before manifest
	readJSON(t, frozenPath, &before)
	for name, as := range now.Quotes {
		was, ok := before.Quotes[name]
		switch {
		case !ok:
			t.Errorf("%s is not frozen yet; %s", name, anew)
		case reflect.DeepEqual(was, as):
		case before.Engine != now.Engine, before.RateBook != now.RateBook, was.Brief != as.Brief, !maps.Equal(was.Meshes, as.Meshes):
			t.Errorf("%s comes out otherwise by another engine, rate book, brief or mesh; %s, and read the diff", name, anew)
		default:
			t.Errorf("%s comes out otherwise by the same engine %d, so quotes that were issued could not be proved any more: "+
				"raise estimate.Engine and say why; then %s\n was %+v\n now %+v", name, now.Engine, anew, was, as)
		}
	}
	assert.Len(t, before.Quotes, len(now.Quotes), "a quote is frozen whose brief is gone; %s", anew)
	assert.Equal(t, now.Engine, before.Engine, anew)
	assert.Equal(t, now.RateBook, before.RateBook, anew)
}

const anew = "go test ./internal/ledger -run Frozen -update"

// deed is testdata/quotes/hare-from-maquette/deed.json: a revision as a store keeps it, but for
// its brief and its document, which are files of their own, byte for byte. It was written
// once; no -update writes it anew.
type deed struct {
	RateBook    string            `json:"rateBook"`
	RateBookSum string            `json:"rateBookSha256"`
	Engine      int               `json:"engine"`
	Fingerprint string            `json:"fingerprint"`
	Meshes      map[string]string `json:"meshes"`
	Sum         string            `json:"contentSha256"`
}

// What was frozen by an earlier program is read by this one, to the last word; and proved,
// where that program reckoned as this one does.
func TestLedgerReadsWhatWasFrozen(t *testing.T) {
	const name = "hare-from-maquette" // the shortest of the golden briefs, and it has a mesh
	s := newStudio(t)
	dir := filepath.Join(testdata, "quotes", name)
	if _, err := os.Stat(dir); *update && os.IsNotExist(err) {
		lay(t, dir, s, name)
	}
	c, d := unlay(t, dir)
	require.Equal(t, d.Sum, c.Sum(), "the files were changed")

	e, err := ledger.Read(c, ledger.Studio)
	require.NoError(t, err)
	assert.Equal(t, e.Brief.GetTitle(), e.Quote.GetTitle())
	assert.Equal(t, c.Fingerprint, e.Full.GetFingerprint())
	assert.Equal(t, e.Quote.GetNet(), e.Full.GetNet())
	assert.NotEmpty(t, e.Full.GetWorkings().GetLabour())
	assert.Contains(t, e.Client, e.Quote.GetTitle())
	assert.Contains(t, e.Studio, e.Quote.GetTitle())

	if d.Engine != estimate.Engine || d.RateBookSum != s.book.Sum {
		t.Logf("by engine %d and rate book %s, which are not this program's: read, but not proved", d.Engine, d.RateBookSum)
		return
	}
	p, err := ledger.Prove(s.asPriced(t, c), c, 10)
	require.NoError(t, err)
	assert.True(t, p.Same, "%v", p.Differences)
}

// lay writes a revision down as a store keeps it.
func lay(t *testing.T, dir string, s *studio, name string) {
	t.Helper()
	c, _ := s.priced(t, s.brief(t, name))
	d := deed{RateBook: c.RateBook, RateBookSum: s.book.Sum, Engine: c.Engine, Fingerprint: c.Fingerprint, Meshes: freeze(t, c).Meshes, Sum: c.Sum()}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	writeJSON(t, filepath.Join(dir, "deed.json"), d)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "brief.json"), c.Brief, 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "document"), c.Document, 0o644))
}

func unlay(t *testing.T, dir string) (store.Content, deed) {
	t.Helper()
	var d deed
	readJSON(t, filepath.Join(dir, "deed.json"), &d)
	c := store.Content{RateBook: d.RateBook, Engine: d.Engine, Fingerprint: d.Fingerprint}
	var err error
	c.Brief, err = os.ReadFile(filepath.Join(dir, "brief.json"))
	require.NoError(t, err)
	c.Document, err = os.ReadFile(filepath.Join(dir, "document"))
	require.NoError(t, err)
	for _, mesh := range slices.Sorted(maps.Keys(d.Meshes)) {
		c.Meshes = append(c.Meshes, store.MeshRef{Name: mesh, Sum: d.Meshes[mesh]})
	}
	return c, d
}

func writeJSON(t *testing.T, path string, v any) {
	t.Helper()
	text, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, append(text, '\n'), 0o644))
}

func readJSON(t *testing.T, path string, v any) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	reader := json.NewDecoder(bytes.NewReader(text))
	reader.DisallowUnknownFields()
	require.NoError(t, reader.Decode(v), path)
}

package archtest_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A floor is how far up the house a package stands. A package knows only packages of lower floors; those on the ground and the
// chapters know their neighbours too.
type floor int

const (
	ground floor = iota
	chapter
	model
	ratebook
	brief
	takeoff
	method
	labour
	cost
	margin
	quote
	estimate
	keeping
	life
	paper
	storing   // from here up a package may know the world
	tables    // what both engines of the store have in common
	engine    // of the store
	gate      // who calls; it may know what is kept
	generated // neither the core nor the store stands above it, so neither knows generated code
	wire
	desk
	ledger
	server
	command
	tool
)

// house says where each package stands.
func house() map[string]floor {
	return map[string]floor{
		"internal/unit":       ground,
		"internal/derivation": ground,
		"internal/fault":      ground,

		"internal/ratebook/demo": ground, // data only

		"internal/geometry":  chapter,
		"internal/laminate":  chapter,
		"internal/gelcoat":   chapter,
		"internal/paint":     chapter,
		"internal/foam":      chapter,
		"internal/pack":      chapter,
		"internal/learning":  chapter,
		"internal/allowance": chapter,
		"internal/drawing":   chapter,
		"internal/mesh":      chapter,
		"internal/meshfile":  chapter,
		"internal/release":   chapter,
		"internal/picture":   chapter,

		"internal/maquette": model, // all that the chapters say of one mesh

		"internal/ratebook": ratebook,
		"internal/brief":    brief,
		"internal/takeoff":  takeoff,
		"internal/method":   method,
		"internal/labour":   labour,
		"internal/cost":     cost,
		"internal/margin":   margin,
		"internal/quote":    quote,
		"internal/estimate": estimate,
		"internal/shelf":    keeping,
		"internal/life":     life,
		"internal/document": paper,

		"internal/store":           storing,
		"internal/store/memory":    engine,
		"internal/store/migration": tables,
		"internal/store/rows":      tables,
		"internal/store/postgres":  engine,
		"internal/store/sqlite":    engine,

		"internal/access": gate,

		"api/mouldwright/v1": generated,
		"api/openapi":        generated,

		"internal/wire":     wire,
		"internal/desk":     desk,
		"internal/bookcase": ledger,
		"internal/cabinet":  ledger,
		"internal/ledger":   ledger,
		"internal/server":   server,
		"cmd/mouldwright":   command,

		"internal/archtest":                    tool,
		"internal/endurance":                   tool, // tests only
		"internal/desk/desktest":               tool, // tests only
		"internal/mesh/meshtest":               tool, // tests only
		"internal/ratebook/ratebooktest":       tool, // tests only
		"internal/store/postgres/postgrestest": tool, // tests only
		"internal/store/storetest":             tool, // tests only
		"internal/tools/openapi":               tool,
		"internal/tools/protodeps":             tool,
	}
}

// blind names what a package may not know although it stands higher.
func blind() map[string][]string {
	return map[string][]string{
		"internal/margin": {"internal/brief", "internal/takeoff"}, // the same terms price anyone's costs
		// Who calls is told alike whatever keeps the keys.
		"internal/access": {"internal/store/migration", "internal/store/rows", "internal/store/postgres", "internal/store/sqlite"},
	}
}

// thirdParty names the modules from outside that a package of the core may use.
func thirdParty() map[string][]string {
	return map[string][]string{
		"internal/unit": {"github.com/quagmt/udecimal", "github.com/bojanz/currency"},
	}
}

func (f floor) core() bool { return f < storing }

// knows reports whether a package on floor f may know one on floor other.
func (f floor) knows(other floor) bool {
	return other < f || other == f && (f == chapter || f == ground)
}

func TestEveryPackageHasAPlace(t *testing.T) {
	for _, p := range packages(t) {
		if _, ok := house()[p.place()]; !ok {
			t.Errorf("%s: say where it stands (the table in imports_test.go)", p.place())
		}
	}
}

func TestImportsPointDownTheHouse(t *testing.T) {
	for _, p := range packages(t) {
		for _, path := range p.Imports {
			if own(path) {
				checkOwn(t, p.place(), place(path))
			} else if house()[p.place()].core() {
				checkForeign(t, p.place(), path)
			}
		}
	}
}

func checkOwn(t *testing.T, from, to string) {
	t.Helper()
	if !house()[from].knows(house()[to]) || slices.Contains(blind()[from], to) {
		t.Errorf("%s may not import %s", from, to)
	}
}

// checkForeign keeps the world out of the core: it is arithmetic over values, the same on every machine and every day.
func checkForeign(t *testing.T, from, path string) {
	t.Helper()
	if first, _, _ := strings.Cut(path, "/"); strings.Contains(first, ".") {
		if !slices.Contains(thirdParty()[from], path) {
			t.Errorf("%s may not import %s", from, path)
		}
		return
	}
	for _, world := range []string{
		"os", "net", "math/rand", "crypto/rand", "database", "log", "syscall", "plugin", "expvar", "flag", "testing", "unsafe",
	} {
		if path == world || strings.HasPrefix(path, world+"/") {
			t.Errorf("%s may not import %s: what it needs from the world is passed in", from, path)
		}
	}
}

// The core may reckon with dates, but not ask what day it is or where.
func TestTheCoreReadsNoClock(t *testing.T) {
	dates := []string{
		"Time", "Date", "Month", "Weekday", "Duration", "UTC", "Parse", "DateOnly", "Hour", "Minute", "Second",
		"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
		"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
	}
	for _, p := range packages(t) {
		if !house()[p.place()].core() || !slices.Contains(p.Imports, "time") {
			continue
		}
		for _, name := range p.GoFiles {
			for _, used := range namesFrom(t, filepath.Join(p.Dir, name), "time") {
				if !slices.Contains(dates, used) {
					t.Errorf("%s/%s uses time.%s: the core knows dates only", p.place(), name, used)
				}
			}
		}
	}
}

// namesFrom lists the names that a file uses from a package of the standard library.
func namesFrom(t *testing.T, file, path string) []string {
	t.Helper()
	parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	ast.Inspect(parsed, func(n ast.Node) bool {
		if selector, ok := n.(*ast.SelectorExpr); ok {
			if from, ok := selector.X.(*ast.Ident); ok && from.Name == localName(parsed, path) {
				names = append(names, selector.Sel.Name)
			}
		}
		return true
	})
	return names
}

// localName is the name that a file calls an imported package by.
func localName(file *ast.File, path string) string {
	for _, spec := range file.Imports {
		if spec.Name != nil && spec.Path.Value == strconv.Quote(path) {
			return spec.Name.Name
		}
	}
	return path
}

//go:build linux

package endurance

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/store/postgres/postgrestest"
)

// What all tests here share, since each takes longer to make than to use.
var (
	program  string               // the path of the program under test
	database *postgrestest.Server // nil where PostgreSQL is not installed
)

func TestMain(m *testing.M) { os.Exit(run(m)) }

func run(m *testing.M) int {
	folder, err := os.MkdirTemp("", "endurance")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() { _ = os.RemoveAll(folder) }() // nothing that matters is left in it
	program = filepath.Join(folder, "mouldwright")
	build := exec.Command("go", "build", "-buildvcs=false", "-o", program, "../../cmd/mouldwright")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		fmt.Fprintln(os.Stderr, "building the program:", err)
		return 1
	}
	return postgrestest.Run(m, &database)
}

// place is where a program keeps things, as --store takes it.
type place string

// file is a new SQLite file.
func file(t testing.TB) place {
	t.Helper()
	return place(filepath.Join(t.TempDir(), "studio.db"))
}

// shared is a new database in PostgreSQL.
func shared(t testing.TB) place {
	t.Helper()
	return at(postgrestest.Address(t, database))
}

// at writes a list of settings as the address that --store takes ("Connection URIs" in
// PostgreSQL's manual, on libpq).
func at(settings string) place {
	value := setting(settings)
	return place(fmt.Sprintf("postgres:///%s?host=%s&user=%s", value["dbname"], value["host"], value["user"]))
}

func setting(settings string) map[string]string {
	value := map[string]string{}
	for _, one := range strings.Fields(settings) {
		name, is, _ := strings.Cut(one, "=")
		value[name] = is
	}
	return value
}

// onEachStore runs a test on a new store of each kind.
func onEachStore(t *testing.T, test func(t *testing.T, fresh func(testing.TB) place)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, file) })
	t.Run("postgres", func(t *testing.T) { test(t, shared) })
}

// many is how often a test does something: as the variable says, or as usual, or seldom where
// tests are to be short.
func many(t testing.TB, variable string, usual, seldom int) int {
	t.Helper()
	if given := os.Getenv(variable); given != "" {
		n, err := strconv.Atoi(given)
		if err != nil || n < 1 {
			t.Fatalf("%s: got %q, allowed: a number from 1", variable, given)
		}
		return n
	}
	if testing.Short() {
		return seldom
	}
	return usual
}

// chance is where a test's choices come from.
func chance(t testing.TB) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano()) //nolint:gosec // any number will do
	if given := os.Getenv("MOULDWRIGHT_SEED"); given != "" {
		var err error
		if seed, err = strconv.ParseUint(given, 10, 64); err != nil {
			t.Fatalf("MOULDWRIGHT_SEED: %v", err)
		}
	}
	t.Logf("MOULDWRIGHT_SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// another gives a part of a test choices of its own, which do not hang on what the others do.
func another(random *rand.Rand) *rand.Rand {
	return rand.New(rand.NewPCG(random.Uint64(), random.Uint64()))
}

// between is a time by chance.
func between(random *rand.Rand, least, most time.Duration) time.Duration {
	return least + time.Duration(random.Int64N(int64(most-least)))
}

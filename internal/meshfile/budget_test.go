//go:build linux

package meshfile

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// The budget of a bad file: a verdict within a second of the processor's time and 64 MiB
// of memory of the whole process, which is that of the test and its libraries with it. By
// the clock it has a minute, for others may have the processor.
const (
	budgetTime   = time.Second
	budgetWait   = time.Minute
	budgetMemory = 64 << 20
)

// The variables of the environment by which this test starts itself again: to read one
// file, or to read all, each in a process of its own.
const (
	readOne = "MESHFILE_READ_ONE"
	readAll = "MESHFILE_READ_ALL"
)

// TestBudget reads every file of the bad set in a process of its own: its verdict and
// code, its time and its memory. The kernel counts a process from the one that forked it,
// so that a small one has to start them, not this one in which other tests have run.
func TestBudget(t *testing.T) {
	switch {
	case os.Getenv(readOne) != "":
		readInBudget(t, os.Getenv(readOne))
	case os.Getenv(readAll) != "":
		for _, e := range expectations(t) {
			t.Run(e.File, func(t *testing.T) { inBudget(t, e) })
		}
	default:
		out, err := again(t.Context(), readAll+"=1").CombinedOutput()
		t.Logf("%s", out)
		assert.NoError(t, err)
	}
}

// again is this test in another process.
func again(ctx context.Context, variable string) *exec.Cmd {
	c := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestBudget$", "-test.v", "-test.count=1")
	c.Env = append(os.Environ(), variable)
	return c
}

// readInBudget prints the verdict on a file: that of the reader, and where it takes the
// file that of the survey, which says whether the surface is closed.
func readInBudget(t *testing.T, name string) {
	data, err := os.ReadFile(badSet + name)
	require.NoError(t, err)
	file, err := Read(data, Options{Name: name, Unit: unitOf(name)})
	if err != nil {
		var f *Fault
		require.ErrorAs(t, err, &f)
		fmt.Println("verdict: reject", f.Code)
		return
	}
	warnings := codes(file.Warnings)
	if survey, err := mesh.Examine(file.Mesh); err == nil {
		warnings = append(warnings, codes(survey.Warnings)...)
	}
	if len(warnings) == 0 {
		fmt.Println("verdict: accept ok")
		return
	}
	fmt.Println("verdict: accept_warn", strings.Join(warnings, " "))
}

// unitOf is the unit that has to be given for a file: none where the format carries one.
func unitOf(name string) float64 {
	if nested(name) {
		return 0
	}
	return 1e-3
}

// inBudget reads one file in a process of its own.
func inBudget(t *testing.T, e expectation) {
	limit, most := budgetTime, int64(budgetMemory)
	if raced() {
		limit, most = 20*limit, 10*most
	}
	ctx, cancel := context.WithTimeout(t.Context(), budgetWait)
	defer cancel()
	c := again(ctx, readOne+"="+e.File)
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s", out)
	usage, ok := c.ProcessState.SysUsage().(*syscall.Rusage)
	require.True(t, ok)
	took := c.ProcessState.UserTime() + c.ProcessState.SystemTime()
	assert.LessOrEqual(t, took, limit)
	t.Logf("%v, %.1f MiB", took, float64(usage.Maxrss)/1024)
	assert.LessOrEqual(t, usage.Maxrss<<10, most)
	verdict := strings.Fields(regexp.MustCompile(`verdict: .*`).FindString(string(out)))
	require.Greater(t, len(verdict), 2, "%s", out)
	assert.Equal(t, e.Verdict, verdict[1], e.Why)
	assert.Contains(t, verdict[2:], e.Code, e.Why)
}

// raced says whether the race detector is built in. It takes 5 to 10 times the memory and
// 2 to 20 times the time (its documentation, "runtime overhead").
func raced() bool {
	info, ok := debug.ReadBuildInfo()
	return ok && slices.Contains(info.Settings, debug.BuildSetting{Key: "-race", Value: "true"})
}

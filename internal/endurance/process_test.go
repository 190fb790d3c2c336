//go:build linux

package endurance

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience bounds every wait for something that must come: long, since the machine may be busy.
const patience = time.Minute

// process is the program while it serves.
type process struct {
	address string
	command *exec.Cmd
	log     *logbook
	ended   chan struct{} // closed when it has ended
}

// start has the program serve without keys, and returns when it takes calls.
func start(t testing.TB, at place, more ...string) *process {
	t.Helper()
	p := begin(t, at, append([]string{"--without-keys"}, more...)...)
	p.await(t)
	return p
}

// begin starts the program and does not wait. It dies with this test at the latest.
func begin(t testing.TB, at place, more ...string) *process {
	t.Helper()
	p := &process{log: &logbook{listening: make(chan string, 1)}, ended: make(chan struct{})}
	p.command = exec.Command(program, append([]string{"serve", "--listen", "127.0.0.1:0", "--store", string(at)}, more...)...)
	p.command.Env = plainEnvironment()
	p.command.Stderr = p.log
	p.command.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { defer close(p.ended); _ = p.command.Wait() }() // how it ended is asked of its state
	t.Cleanup(func() { p.kill(t); p.sound(t) })
	return p
}

// plainEnvironment is the environment without what this test, or the program, is told by it.
func plainEnvironment() []string {
	var plain []string
	for _, one := range os.Environ() {
		if !strings.HasPrefix(one, "MOULDWRIGHT_") {
			plain = append(plain, one)
		}
	}
	return plain
}

// await waits until the program takes calls.
func (p *process) await(t testing.TB) {
	t.Helper()
	select {
	case p.address = <-p.log.listening:
	case <-p.ended:
		t.Fatalf("the program ended instead of serving: %v\n%s", p.command.ProcessState, p.log.tail())
	case <-time.After(patience):
		t.Fatalf("the program did not begin to serve within %v:\n%s", patience, p.log.tail())
	}
}

// kill ends the program as the machine's failing would, from one instruction to the next.
func (p *process) kill(t testing.TB) {
	t.Helper()
	if err := p.command.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		t.Errorf("killing the program: %v", err)
	}
	p.gone(t)
}

// stop asks the program to end, as whoever runs it would, and holds that it does so in order.
func (p *process) stop(t testing.TB) {
	t.Helper()
	if err := p.command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Errorf("stopping the program: %v", err)
	}
	p.gone(t)
	if status := p.command.ProcessState; !status.Success() {
		t.Errorf("the program was asked to stop, and ended with: %v\n%s", status, p.log.tail())
	}
}

func (p *process) gone(t testing.TB) {
	t.Helper()
	select {
	case <-p.ended:
	case <-time.After(patience):
		t.Fatalf("the program did not end within %v", patience)
	}
}

// sound holds that the program told its log of no error: those are faults of its own.
func (p *process) sound(t testing.TB) {
	t.Helper()
	p.log.mu.Lock()
	defer p.log.mu.Unlock()
	for _, line := range p.log.alarms {
		t.Errorf("in the program's log: %s", line)
	}
}

// logbook takes a program's log in. It keeps the last lines, and those that are alarms.
type logbook struct {
	listening chan string // the address, once

	mu     sync.Mutex
	part   []byte // of a line that is not whole yet
	last   []string
	alarms []string
}

// mostLines bounds what is kept of a log.
const mostLines = 40

// Write takes in a piece of the log.
func (l *logbook) Write(piece []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.part = append(l.part, piece...)
	for {
		line, rest, whole := bytes.Cut(l.part, []byte("\n"))
		if !whole {
			return len(piece), nil
		}
		l.note(string(line))
		l.part = bytes.Clone(rest)
	}
}

func (l *logbook) note(line string) {
	l.last = append(l.last, line)
	l.last = l.last[max(0, len(l.last)-mostLines):]
	var read struct{ Msg, Level, Address string }
	err := json.Unmarshal([]byte(line), &read)
	switch {
	case err != nil || read.Level == "ERROR":
		if len(l.alarms) < mostLines {
			l.alarms = append(l.alarms, line)
		}
	case read.Msg == "listening":
		l.listening <- read.Address
	}
}

func (l *logbook) tail() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.last, "\n") + string(l.part)
}

// Package postgrestest starts a PostgreSQL of its own for tests, from the programs that are
// installed, and stops it afterwards. Nothing that it holds is meant to survive.
package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
)

// Server is a PostgreSQL that listens on a socket in a folder of its own.
type Server struct {
	folder    string // short: the path of a socket has at most 107 bytes
	programs  string
	as        *syscall.Credential // nil where the tests do not run as root
	databases int
}

// ErrNotInstalled says that there are no programs to start.
var ErrNotInstalled = errors.New("PostgreSQL is not installed")

// Start starts a server.
func Start() (*Server, error) {
	programs, err := installed()
	if err != nil {
		return nil, err
	}
	folder, err := os.MkdirTemp("", "pg")
	if err != nil {
		return nil, err
	}
	s := &Server{folder: folder, programs: programs}
	if err := errors.Join(s.stepDown(), s.run("initdb", "-D", s.data(), "-U", "postgres", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")); err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	if err := s.Again(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	return s, nil
}

// Again starts a server that was stalled.
func (s *Server) Again() error {
	settings := fmt.Sprintf("-k %s -c listen_addresses='' -c max_connections=200 -c deadlock_timeout=50ms", s.folder)
	if os.Getenv("MOULDWRIGHT_FSYNC") == "" { // set for figures, which are worth nothing without the disk
		settings += " -c fsync=off"
	}
	return s.run("pg_ctl", "start", "-w", "-D", s.data(), "-l", filepath.Join(s.folder, "log"), "-o", settings)
}

// Stop stops the server and throws away what it held.
func (s *Server) Stop() error {
	return errors.Join(s.run("pg_ctl", "stop", "-m", "immediate", "-D", s.data()), os.RemoveAll(s.folder))
}

// Stall stops the server but keeps what it holds.
func (s *Server) Stall() error { return s.run("pg_ctl", "stop", "-m", "fast", "-D", s.data()) }

// Crash ends the server as if its machine had stopped: what it had not written to files yet is
// lost. Again has it recover.
func (s *Server) Crash() error { return s.run("pg_ctl", "stop", "-m", "immediate", "-D", s.data()) }

// Database makes another empty database, with further words to CREATE DATABASE, and returns
// its address.
func (s *Server) Database(ctx context.Context, words string) (string, error) {
	conn, err := pgx.Connect(ctx, s.address("postgres"))
	if err != nil {
		return "", err
	}
	s.databases++
	name := fmt.Sprintf("quotes%d", s.databases)
	_, err = conn.Exec(ctx, "CREATE DATABASE "+name+" "+words)
	return s.address(name), errors.Join(err, conn.Close(ctx))
}

func (s *Server) address(database string) string {
	return fmt.Sprintf("host=%s user=postgres dbname=%s", s.folder, database)
}

func (s *Server) data() string { return filepath.Join(s.folder, "data") }

// installed finds the folder of the programs: initdb needs postgres beside it.
func installed() (string, error) {
	folders, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // the pattern is sound
	slices.Reverse(folders)                                  // the newest first, while versions have as many digits
	for _, folder := range append(folders, "/usr/local/bin", "/usr/bin") {
		if _, err := os.Stat(filepath.Join(folder, "initdb")); err == nil {
			return folder, nil
		}
	}
	return "", ErrNotInstalled
}

// stepDown has the server run as somebody else where the tests run as root, as which it
// refuses to start.
func (s *Server) stepDown() error {
	if os.Getuid() != 0 {
		return nil
	}
	who, err := user.Lookup("postgres")
	if err != nil {
		if who, err = user.Lookup("nobody"); err != nil {
			return err
		}
	}
	uid, err := strconv.ParseUint(who.Uid, 10, 32)
	if err != nil {
		return err
	}
	gid, err := strconv.ParseUint(who.Gid, 10, 32)
	if err != nil {
		return err
	}
	s.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	return os.Chown(s.folder, int(uid), int(gid))
}

func (s *Server) run(program string, args ...string) error {
	command := exec.Command(filepath.Join(s.programs, program), args...)
	command.Dir = s.folder
	command.SysProcAttr = &syscall.SysProcAttr{Credential: s.as}
	said, err := os.CreateTemp("", "pg") // a pipe would stay open as long as the server does
	if err != nil {
		return err
	}
	defer func() { _ = errors.Join(said.Close(), os.Remove(said.Name())) }()
	command.Stdout, command.Stderr = said, said
	if err := command.Run(); err != nil {
		words, _ := os.ReadFile(said.Name()) // the error stands without them
		return fmt.Errorf("%s: %w\n%s", program, err, words)
	}
	return nil
}

// Run runs a package's tests beside a server, which they find in started; without one where
// it is not installed.
func Run(m *testing.M, started **Server) int {
	s, err := Start()
	switch {
	case errors.Is(err, ErrNotInstalled):
		return m.Run()
	case err != nil:
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() {
		if err := s.Stop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}()
	*started = s
	return m.Run()
}

// Address returns the address of an empty database on a server. The test is skipped where
// there is none, and fails where everything should be installed.
func Address(t testing.TB, s *Server) string {
	t.Helper()
	return address(t, s, "")
}

// Collated is Address for a database that sorts and compares as a dictionary of the Unicode
// consortium's root locale does.
func Collated(t testing.TB, s *Server) string {
	t.Helper()
	return address(t, s, "TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'und'")
}

func address(t testing.TB, s *Server, words string) string {
	t.Helper()
	if s == nil {
		if os.Getenv("MOULDWRIGHT_CI") != "" {
			t.Fatal(ErrNotInstalled)
		}
		t.Skip(ErrNotInstalled)
	}
	address, err := s.Database(t.Context(), words)
	if err != nil {
		t.Fatal(err)
	}
	return address
}

//go:build linux

package endurance

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// disk mounts a small disk in memory, of so many bytes. Where the machine does not let this
// test mount, it is skipped.
func disk(t testing.TB, size int) string {
	t.Helper()
	folder := t.TempDir()
	err := syscall.Mount("endurance", folder, "tmpfs", syscall.MS_NOSUID|syscall.MS_NODEV, fmt.Sprintf("size=%d", size))
	if errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.EACCES) { // as in a container that may not mount, root or not
		t.Skip("mounting a small disk is not allowed here")
	}
	if err != nil {
		t.Fatalf("mounting a small disk: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return folder
}

// locked has a disk take no writes any more, or take them again.
func locked(t testing.TB, folder string, yes bool) {
	t.Helper()
	flags := uintptr(syscall.MS_REMOUNT | syscall.MS_NOSUID | syscall.MS_NODEV)
	if yes {
		flags |= syscall.MS_RDONLY
	}
	if err := syscall.Mount("endurance", folder, "tmpfs", flags, ""); err != nil {
		t.Fatalf("mounting the small disk anew, read-only %t: %v", yes, err)
	}
}

// untilAway has writers write until each is told that the store takes no writes.
func untilAway(t testing.TB, writers []*writer, p *process) *tally {
	t.Helper()
	m := steady()
	m.away = func(*refusal) error { return errLeft }
	if err := write(t.Context(), writers, doors(t, p), m, func(*writer) bool { return true }); err != nil {
		t.Fatal(err)
	}
	if got := m.count.unavailable.Load(); got != int64(len(writers)) {
		t.Fatalf("%d of %d writers were told that the store takes no writes", got, len(writers))
	}
	return m.count
}

// A disk fills while callers write. They are told so, in good order; all that was acknowledged
// can be read from the full disk, before and after a kill; and when there is room, the same
// program goes on. A small disk fills before SQLite has first moved its log into the database,
// at 1,000 pages of 4 KiB ("Write-Ahead Logging", sqlite.org/wal.html), a larger one later.
func TestTheDiskFills(t *testing.T) {
	t.Run("before the log is moved", func(t *testing.T) { fills(t, 8<<20, 5<<20) })
	t.Run("after", func(t *testing.T) { fills(t, 12<<20, 3<<20) })
}

// fills takes up ballast bytes of a disk until room is to be made.
func fills(t *testing.T, size, ballast int) {
	t.Helper()
	random := chance(t)
	folder := disk(t, size)
	filler := filepath.Join(folder, "ballast")
	if err := os.WriteFile(filler, make([]byte, ballast), 0o600); err != nil {
		t.Fatal(err)
	}
	kept := place(filepath.Join(folder, "studio.db"))
	p := start(t, kept)
	writers := newWriters(another(random), 4, begun)
	count := untilAway(t, writers, p)
	survived(t, p, writers, random)
	p.kill(t)
	p = start(t, kept)
	survived(t, p, writers, random)
	untilAway(t, writers, p) // there is no more room than before
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	finish(t, writers, doors(t, p))
	complete(t, p, writers, random)
	p.kill(t)
	p = start(t, kept)
	complete(t, p, writers, random)
	p.stop(t)
	t.Logf("until the disk was full: %v", count)
}

// A disk that fails is often mounted anew, read-only. That binds whoever runs the program,
// root too, which permissions do not. What was acknowledged can be read; writers are told that
// there is no writing; and when there is, a program that starts then goes on.
func TestTheDiskIsReadOnly(t *testing.T) {
	random := chance(t)
	folder := disk(t, 16<<20)
	kept := place(filepath.Join(folder, "studio.db"))
	p := start(t, kept)
	writers := newWriters(another(random), 4, begun)
	count := &tally{}
	if err := killed(t, p, writers, doors(t, p), count, moment(1, random, count)); err != nil {
		t.Fatal(err)
	}
	locked(t, folder, true)
	p = start(t, kept)
	survived(t, p, writers, random)
	untilAway(t, writers, p)
	survived(t, p, writers, random)
	p.kill(t)
	locked(t, folder, false)
	p = start(t, kept)
	survived(t, p, writers, random)
	finish(t, writers, doors(t, p))
	complete(t, p, writers, random)
	p.stop(t)
}

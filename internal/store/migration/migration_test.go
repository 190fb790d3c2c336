package migration

import (
	"io/fs"
	"regexp"
	"slices"
	"testing"
)

func TestBothEnginesHaveTheSameMigrations(t *testing.T) {
	one, other := names(t, SQLite), names(t, Postgres)
	if len(one) == 0 || !slices.Equal(one, other) {
		t.Errorf("sqlite has %v, postgres has %v", one, other)
	}
	for i, name := range one {
		if m := regexp.MustCompile(`^(\d{5})_[a-z_]+\.sql$`).FindStringSubmatch(name); m == nil || m[1] != number(i+1) {
			t.Errorf("migration %d is called %s", i+1, name)
		}
	}
}

func number(n int) string {
	digits := []byte("00000")
	for i := len(digits) - 1; n > 0; i, n = i-1, n/10 {
		digits[i] = byte('0' + n%10)
	}
	return string(digits)
}

func names(t *testing.T, engine Engine) []string {
	t.Helper()
	files, err := fs.ReadDir(folders, string(engine))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, f.Name())
	}
	return names
}

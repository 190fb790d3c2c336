//go:build !race

package server

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/sqlite"
)

// onDisk is an empty store in files of a folder; the same in memory under the race detector,
// for which SQLite's translated library takes minutes to build.
func onDisk(t testing.TB, dir string) store.Store {
	t.Helper()
	kept, err := sqlite.Open(context.Background(), filepath.Join(dir, "studio.db"))
	require.NoError(t, err)
	return kept
}

// diskless says that onDisk is not.
const diskless = false

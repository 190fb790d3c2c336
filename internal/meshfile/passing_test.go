package meshfile

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
)

// A file that passes by is read as one that is held: the same mesh, or the same fault.
func TestPassingIsReading(t *testing.T) {
	for _, set := range []string{publicSet, badSet} {
		names, err := filepath.Glob(set + "*.*")
		require.NoError(t, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			for _, o := range []Options{{Name: name, Unit: 1e-3}, {Name: name}, {Name: name, Unit: 1e-3, MostTriangles: 100}} {
				want, wantErr := Read(data, o)
				got, err := ReadFrom(bytes.NewReader(data), int64(len(data)), o)
				require.Equal(t, wantErr, err, name)
				require.Equal(t, want, got, name)
			}
		}
	}
}

// A large one comes in several blocks, and from a slow source in small pieces.
func TestPassingInPieces(t *testing.T) {
	data := writeSTL(ball(250, 100))
	o := Options{Unit: 1e-3}
	want, err := Read(data, o)
	require.NoError(t, err)
	got, err := ReadFrom(iotest.OneByteReader(bytes.NewReader(data)), int64(len(data)), o)
	require.NoError(t, err)
	require.Equal(t, want, got)
}

func TestPassingCutShort(t *testing.T) {
	data := writeSTL(ball(250, 100))
	size, o := int64(len(data)), Options{Unit: 1e-3}
	for _, at := range []int64{0, 50, 84, 1_000_084, 1_000_100, size - 1} {
		_, err := ReadFrom(bytes.NewReader(data[:at]), size, o)
		fault := &Fault{}
		require.ErrorAs(t, err, &fault, at)
		require.Equal(t, Truncated, fault.Code)
		require.Equal(t, at, fault.Offset)
		_, err = Gauge(bytes.NewReader(data[:at]), size, o)
		require.ErrorAs(t, err, &fault, at)
		require.Equal(t, Truncated, fault.Code)
		require.Equal(t, at, fault.Offset)
	}
	broken := errors.New("the disk is gone")
	_, err := ReadFrom(io.MultiReader(bytes.NewReader(data[:1_500_000]), iotest.ErrReader(broken)), size, o)
	require.ErrorIs(t, err, broken)
	_, err = Gauge(io.MultiReader(bytes.NewReader(data[:1_500_000]), iotest.ErrReader(broken)), size, o)
	require.ErrorIs(t, err, broken)
}

// Of several bad coordinates the first is told of, wherever the blocks are cut.
func TestTheFirstBadCoordinateIsTold(t *testing.T) {
	data := writeSTL(ball(250, 100))
	for _, number := range []int{49_000, 20_001, 20_000, 19_999, 70} {
		copy(data[stlHead+50*number+12:], []byte{0, 0, 0xC0, 0x7F}) // not a number, as IEEE 754 has it
		for _, read := range []func() error{
			func() error {
				_, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1e-3})
				return err
			},
			func() error { _, err := Read(data, Options{Unit: 1e-3}); return err },
		} {
			fault := &Fault{}
			require.ErrorAs(t, read(), &fault)
			require.Equal(t, NonFinite, fault.Code)
			require.EqualValues(t, stlHead+50*number+12, fault.Offset)
		}
	}
}

package meshfile

import (
	"bytes"
	"errors"
	"io"
	"math"
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

// What a file is hangs on all its length, also where its count is just that of the block
// that is looked at: bytes that follow take from it the sure sign of binary STL.
func TestPassingKnowsAFileByAllItsLength(t *testing.T) {
	data := writeSTL(ball(100, 101))
	data = append(data[:stlHead+blockRecords*stlRecord], 1, 2, 3, 4, 5)
	data[80], data[81] = blockRecords&0xFF, blockRecords>>8
	for _, head := range []string{"", "glTF\x02\x00\x00\x00", "ply\n", "PK\x03\x04"} {
		copy(data, head)
		for _, name := range []string{"x.stl", "x.obj", "x"} {
			o := Options{Name: name, Unit: 1}
			want, wantErr := Read(data, o)
			got, err := ReadFrom(bytes.NewReader(data), int64(len(data)), o)
			require.Equal(t, wantErr, err, "%q %s", head, name)
			require.Equal(t, want, got, "%q %s", head, name)
		}
	}
}

// A size that no file has is a fault and no panic.
func TestPassingOfAnySize(t *testing.T) {
	text := bytes.Repeat([]byte("solid x\n"), mostOpening/8+1)
	for _, head := range [][]byte{nil, text, make([]byte, mostOpening), append([]byte("glTF"), text...)} {
		for _, size := range []int64{math.MinInt64, -1, 1 << 36, 1 << 48, math.MaxInt64} {
			o, fault := Options{Name: "x.stl", Unit: 1}, &Fault{}
			_, err := ReadFrom(bytes.NewReader(head), size, o)
			require.ErrorAs(t, err, &fault)
			_, err = Gauge(bytes.NewReader(head), size, o)
			require.ErrorAs(t, err, &fault)
		}
	}
}

// The bound on triangles holds for both kinds of STL.
func TestGaugeTakesSoManyTriangles(t *testing.T) {
	m := ball(10, 10)
	for _, data := range [][]byte{writeSTL(m), writeTextSTL(m)} {
		for n, code := range map[int]string{len(m.Faces) - 1: TooLarge, len(m.Faces): ""} {
			_, err := Gauge(bytes.NewReader(data), int64(len(data)), Options{Unit: 1, MostTriangles: n})
			if fault := (&Fault{}); code != "" {
				require.ErrorAs(t, err, &fault)
				require.Equal(t, code, fault.Code)
				continue
			}
			require.NoError(t, err)
		}
	}
}

package meshfile

import (
	"bytes"
	"errors"
	"io"
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

const (
	// blockRecords is how many records of a binary STL are held at a time: a megabyte.
	blockRecords = 20_000
	// mostOpening is how much of a file is looked at to know what it is, in bytes.
	mostOpening = stlHead + blockRecords*stlRecord
	// mostHeld is how long a file may be that has to be held whole, in bytes. At 33 of the
	// four times as many that it may take, its vertices stay below 2^32.
	mostHeld = min(1<<35, math.MaxInt)
)

// ReadFrom reads a mesh from a file of some size that r gives from its beginning, as
// Read does from its bytes. A binary STL is never held whole: it passes by, a megabyte
// at a time. The error is a *Fault, or that of r.
func ReadFrom(r io.Reader, size int64, o Options) (*File, error) {
	head, err := opening(r, size)
	if err != nil {
		return nil, err
	}
	count, text, left, err := passingLayout(head, size)
	format, _ := detect(head, size, o.Name)
	if err == nil && !text && (left == 0 || format == STL) {
		return passing(io.MultiReader(bytes.NewReader(head[stlHead:]), r), count, left, size, o)
	}
	whole, err := held(r, head, size)
	if err != nil {
		return nil, err
	}
	return Read(whole, o)
}

// held reads all of a file of some size that begins with head.
func held(r io.Reader, head []byte, size int64) ([]byte, error) {
	if size > mostHeld {
		return nil, faultf(TooLarge, "the file has %d bytes; allowed are %d where it is no binary STL", size, int64(mostHeld))
	}
	whole := make([]byte, max(size, 0))
	n, err := io.ReadFull(r, whole[copy(whole, head):])
	return whole, cutShort(err, int64(len(head)+n), size)
}

// passing reads a binary STL whose header is known already.
func passing(r io.Reader, count, left, size int64, o Options) (*File, error) {
	unit, err := o.unitless(STL)
	if err != nil {
		return nil, err
	}
	file := &File{Unit: unit}
	return finished(file, STL, file.readRecords(r, count, left, o.mostTriangles(size)))
}

// opening reads the beginning of a file of some size, or all of it.
func opening(r io.Reader, size int64) ([]byte, error) {
	block := make([]byte, max(0, min(size, mostOpening)))
	if n, err := io.ReadFull(r, block); err != nil {
		return nil, cutShort(err, int64(n), size)
	}
	return block, nil
}

// passingLayout is stlLayout of a file that passes by, once it is found to be no other kind.
func passingLayout(head []byte, size int64) (count int64, text bool, left int64, err error) {
	if size < stlHead || stlRoom(head, size) != 0 {
		switch format, err := detect(head, size, "x.stl"); {
		case err != nil:
			return 0, false, 0, err
		case format != STL:
			return 0, false, 0, faultf(TooLarge, "only STL can be gauged without being held; this is a %s file", format)
		}
	}
	return stlLayout(head, size)
}

// cutShort is the fault of a file that ends before its size; nil where nothing went wrong.
func cutShort(err error, got, size int64) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		f := faultf(Truncated, "%d bytes came of %d", got, size)
		f.Offset = got
		return f
	}
	return err
}

// readRecords reads the records of a binary STL, a block at a time.
func (f *File) readRecords(r io.Reader, count, left int64, most int) error {
	if count > int64(most) {
		return tooMany(count, most)
	}
	f.Warnings = leftOver(left)
	b := mesh.NewBuilder(int(count))
	block := make(records, min(count, blockRecords)*stlRecord)
	for done := int64(0); done < count; done += blockRecords {
		part := block[:min(count-done, blockRecords)*stlRecord]
		if n, err := io.ReadFull(r, part); err != nil {
			return cutShort(err, stlHead+done*stlRecord+int64(n), stlHead+count*stlRecord)
		}
		if err := part.build(b, f.Unit, done); err != nil {
			return err
		}
	}
	f.Mesh = b.Mesh()
	return nil
}

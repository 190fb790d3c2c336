package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/klauspost/compress/zstd"
)

// mostPlain bounds a page, in bytes: the largest brief that is taken makes about a tenth.
const mostPlain = 1 << 30

// pack makes pages short, since workings repeat themselves: the length of the first in four
// bytes, the highest first, and both as frames of Zstandard (RFC 8878).
// What unpack would refuse is not packed.
func pack(pages [2][]byte) ([]byte, error) {
	if longest := max(len(pages[0]), len(pages[1])); longest > mostPlain {
		return nil, fmt.Errorf("a page of %d bytes cannot be kept; allowed: %d", longest, mostPlain)
	}
	w, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(window), zstd.WithLowerEncoderMem(true))
	if err != nil {
		return nil, err
	}
	front := w.EncodeAll(pages[0], make([]byte, sizeBytes))
	binary.BigEndian.PutUint32(front, uint32(len(front)-sizeBytes)) //nolint:gosec // bounded by mostPlain
	return w.EncodeAll(pages[1], front), w.Close()
}

const sizeBytes = 4

// window is how far back repetition is looked for, in bytes: most quotes are not much longer,
// and twice as much of it is cleared for each.
const window = 512 << 10

var errPacked = errors.New("the length of the first page is not that of one")

// unpack reads the first page, and the second where the view is the studio's.
func unpack(packed []byte, view View) (pages [2][]byte, err error) {
	if len(packed) < sizeBytes {
		return pages, errPacked
	}
	size := binary.BigEndian.Uint32(packed)
	rest := packed[sizeBytes:]
	if uint64(size) > uint64(len(rest)) {
		return pages, errPacked
	}
	r, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(mostPlain))
	if err != nil {
		return pages, err
	}
	defer r.Close()
	if pages[0], err = r.DecodeAll(rest[:size], nil); err != nil || view != Studio {
		return pages, err
	}
	pages[1], err = r.DecodeAll(rest[size:], nil)
	return pages, err
}

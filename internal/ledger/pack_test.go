package ledger_test

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/ledger"
)

func TestLedgerPacksAndUnpacks(t *testing.T) {
	for name, pages := range map[string][2][]byte{
		"both":    {[]byte(`{"quote":{}}`), []byte(strings.Repeat("the same again. ", 10_000))},
		"neither": {{}, {}},
		"one":     {[]byte("x"), {}},
	} {
		packed, err := ledger.Pack(pages)
		require.NoError(t, err)
		got, err := ledger.Unpack(packed, ledger.Studio)
		require.NoError(t, err)
		for i := range pages {
			assert.True(t, bytes.Equal(pages[i], got[i]), name)
		}
		first, err := ledger.Unpack(packed, ledger.Client)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(pages[0], first[0]), name)
		assert.Nil(t, first[1], "the second page is not unpacked for a client")
	}
}

// A few bytes may claim to hold more than memory does; they are refused for what they say.
// A frame says its size in eight bytes where the two highest bits of its descriptor are set,
// and one segment in the bit 0x20 (RFC 8878, section 3.1.1.1).
func TestLedgerRefusesWhatIsLargerThanAPage(t *testing.T) {
	frame := []byte{0x28, 0xb5, 0x2f, 0xfd, 0xe0}
	frame = binary.LittleEndian.AppendUint64(frame, 1<<40)
	frame = append(frame, 1, 0, 0) // the last block, and empty
	packed := append(binary.BigEndian.AppendUint32(nil, uint32(len(frame))), frame...)
	_, err := ledger.Unpack(packed, ledger.Client)
	assert.Error(t, err)
}

// Whatever a document holds, it is unpacked or refused, in memory that goes with its length:
// a block of a frame holds at most 128 KiB and takes three bytes at least (RFC 8878, section
// 3.1.1.2), so what is tried here is kept short.
func FuzzUnpack(f *testing.F) {
	const longest = 1 << 10
	for _, pages := range [][2][]byte{{[]byte(`{"text":"a"}`), []byte(strings.Repeat(`{"text":"b"}`, 50))}, {{}, {}}} {
		packed, err := ledger.Pack(pages)
		require.NoError(f, err)
		f.Add(packed)
		f.Add(packed[:len(packed)-1])
		f.Add(packed[4:])
	}
	f.Add([]byte{})
	f.Add([]byte{0, 0, 0, 0})
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0})
	f.Fuzz(func(t *testing.T, packed []byte) {
		if len(packed) > longest {
			t.Skip("longer than is tried")
		}
		front, failed := ledger.Unpack(packed, ledger.Client)
		both, err := ledger.Unpack(packed, ledger.Studio)
		if err != nil {
			return
		}
		require.NoError(t, failed, "the first page is unpacked alone")
		require.True(t, bytes.Equal(front[0], both[0]))
		require.LessOrEqual(t, len(both[0])+len(both[1]), longest/3*(128<<10))
		again, err := ledger.Pack(both)
		require.NoError(t, err)
		got, err := ledger.Unpack(again, ledger.Studio)
		require.NoError(t, err)
		require.True(t, bytes.Equal(both[0], got[0]) && bytes.Equal(both[1], got[1]))
	})
}

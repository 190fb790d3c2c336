package ledger

// What the tests outside the package need of its inside.

// Pack is pack.
func Pack(pages [2][]byte) ([]byte, error) { return pack(pages) }

// Unpack is unpack.
func Unpack(packed []byte, view View) ([2][]byte, error) { return unpack(packed, view) }

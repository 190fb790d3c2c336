package access

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"log/slog"
	"strings"
)

// How a key is written: mwk_, an id of 80 random bits, a secret of 256, and a checksum over
// all before its underscore. One pattern finds every key in a text:
//
//	mwk_[a-z2-7]{16}_[a-z2-7]{51}[aq]_[0-9a-f]{8}
const (
	prefix      = "mwk"
	idBytes     = 10
	idLen       = 16 // characters of base32, five bits each
	secretBytes = 32
	secretLen   = 52 // characters, of which the last holds one bit
	sumLen      = 8  // hexadecimal digits of 32 bits
	idAt        = len(prefix) + 1
	secretAt    = idAt + idLen + 1
	sumAt       = secretAt + secretLen + 1
	keyLen      = sumAt + sumLen
)

// ErrMalformed says that a text is not a key, or one that was mistyped: its checksum is
// that of another.
var ErrMalformed = errors.New("this is not an access key, or it was mistyped")

// Key is an access key with its secret. However it is printed, it shows its id only; what
// shows all of it is Reveal. The zero value is no key and matches nothing.
type Key struct {
	id     string
	secret *string // behind a pointer, which is all that is printed of a Key in another's unexported field
}

// NewKey makes a key from 42 bytes of a source of secret randomness, such as crypto/rand.Reader.
func NewKey(random io.Reader) (Key, error) {
	var bits [idBytes + secretBytes]byte
	if _, err := io.ReadFull(random, bits[:]); err != nil {
		return Key{}, fmt.Errorf("random bytes for a key: %w", err)
	}
	return keyOf(spell(bits[:idBytes]), spell(bits[idBytes:])), nil
}

// ParseKey reads a key as Reveal writes it, to the letter. All else is ErrMalformed, which
// does not repeat the text: it could be a key with one letter wrong.
func ParseKey(text string) (Key, error) {
	if len(text) != keyLen {
		return Key{}, ErrMalformed
	}
	id, secret := text[idAt:idAt+idLen], text[secretAt:secretAt+secretLen]
	if !spelled(id) || !spelled(secret) || !wholeBytes(secret) {
		return Key{}, ErrMalformed
	}
	// Its underscores, prefix and checksum are right where it is written so again.
	key := keyOf(strings.Clone(id), strings.Clone(secret))
	if key.Reveal() != text {
		return Key{}, ErrMalformed
	}
	return key, nil
}

func keyOf(id, secret string) Key { return Key{id: id, secret: &secret} }

// ID names the key. It is no secret.
func (k Key) ID() string { return k.id }

// Reveal is the whole key, to be shown once to whom it is made for.
func (k Key) Reveal() string {
	signed := prefix + "_" + k.id + "_" + k.text()
	return fmt.Sprintf("%s_%0*x", signed, sumLen, checksum(signed))
}

// Digest is the SHA-256 of the secret's text: what is kept of it. A secret of 256 random
// bits cannot be guessed from it, so that no slower sum is needed.
func (k Key) Digest() [sha256.Size]byte { return sha256.Sum256([]byte(k.text())) }

// Matches reports whether the key's secret is the one that a digest is of. How long that
// takes does not tell how much of it is right.
func (k Key) Matches(digest [sha256.Size]byte) bool {
	own := k.Digest()
	same := subtle.ConstantTimeCompare(own[:], digest[:]) == 1
	return same && k.secret != nil
}

// String is the key without its secret and checksum.
func (k Key) String() string { return prefix + "_" + k.id + "_…" }

// Format prints String for every verb.
func (k Key) Format(to fmt.State, verb rune) {
	_, _ = fmt.Fprintf(to, fmt.FormatString(to, verb), k.String()) // fmt itself has nobody to tell
}

// LogValue is String.
func (k Key) LogValue() slog.Value { return slog.StringValue(k.String()) }

func (k Key) text() string {
	if k.secret == nil {
		return ""
	}
	return *k.secret
}

// spell writes bytes in the base32 of RFC 4648 section 6, in lower case and without padding.
func spell(b []byte) string {
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b))
}

// spelled reports whether all of a text is of that alphabet.
func spelled(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool { return (r < 'a' || r > 'z') && (r < '2' || r > '7') })
}

// wholeBytes reports whether a secret's last character is one that 32 bytes can end in: the
// 52 characters have four bits more than those, which are zero.
func wholeBytes(secret string) bool {
	return strings.HasSuffix(secret, "a") || strings.HasSuffix(secret, "q")
}

// checksum is the CRC-32C of RFC 3720 section 12.1: it finds every wrong letter and every two
// that changed places, and keeps nobody out.
func checksum(text string) uint32 {
	return crc32.Checksum([]byte(text), crc32.MakeTable(crc32.Castagnoli))
}

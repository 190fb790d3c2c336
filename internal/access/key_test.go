package access_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"log/slog"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/access"
)

// The key of the bytes 0 to 41, and the SHA-256 of its secret's text: both worked out by Python's base64 and hashlib and by a
// CRC-32C bit by bit. It opens nothing anywhere.
const (
	worked       = "mwk_aaaqeayeaudaocaj_bifqydiob4ibceqtcqkrmfyydenbwha5dypsaijcemsckjrhfauq_35a32ddd"
	workedID     = "aaaqeayeaudaocaj"
	workedSecret = "bifqydiob4ibceqtcqkrmfyydenbwha5dypsaijcemsckjrhfauq"
	workedDigest = "6afdda5a6007ae5c5e9b7cf89911b24e25fe51c10269f604b6f2bd9352d9daeb"
)

func counting(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i)
	}
	return b
}

func newKey(t interface{ Fatal(...any) }, random []byte) access.Key {
	key, err := access.NewKey(bytes.NewReader(random))
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func TestTheWorkedKey(t *testing.T) {
	made := newKey(t, counting(42))
	read, err := access.ParseKey(worked)
	if err != nil {
		t.Fatal(err)
	}
	for name, key := range map[string]access.Key{"made": made, "read": read} {
		digest := key.Digest()
		if key.Reveal() != worked || key.ID() != workedID || hex.EncodeToString(digest[:]) != workedDigest {
			t.Errorf("%s: %s, id %s, digest %x", name, key.Reveal(), key.ID(), digest)
		}
		if other := sha256.Sum256([]byte("another")); !key.Matches(digest) || key.Matches(other) || key.Matches([32]byte{}) {
			t.Errorf("%s matches wrongly", name)
		}
	}
}

// RFC 3720 appendix B.4: four texts of 32 bytes, with the sum's bytes as they are sent, the lowest first. The sum of "123456789" is
// the check value by which catalogues of CRCs list CRC-32C (CRC-32/ISCSI; from memory).
func TestChecksumIsCRC32C(t *testing.T) {
	down := counting(32)
	for i := range down {
		down[i] = byte(31 - i)
	}
	for text, want := range map[string]uint32{
		string(make([]byte, 32)):   0x8a9136aa,
		strings.Repeat("\xff", 32): 0x62a8ab43,
		string(counting(32)):       0x46dd794e,
		string(down):               0x113fdb5c,
		"123456789":                0xe3069283,
	} {
		if got := access.Checksum(text); got != want {
			t.Errorf("%q: %08x, want %08x", text, got, want)
		}
	}
}

// RFC 4648 section 10, in lower case and without padding.
func TestSpellingIsBase32(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "f": "my", "fo": "mzxq", "foo": "mzxw6", "foob": "mzxw6yq", "fooba": "mzxw6ytb", "foobar": "mzxw6ytboi",
	} {
		if got := access.Spell([]byte(text)); got != want {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
	}
}

func TestKeysAreRandom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rapid.SliceOfN(rapid.Byte(), 42, 42).Draw(t, "random")
		key := newKey(t, random)
		text := key.Reveal()
		if !regexp.MustCompile(`^mwk_[a-z2-7]{16}_[a-z2-7]{51}[aq]_[0-9a-f]{8}$`).MatchString(text) {
			t.Fatalf("a scanner would not find %s", text)
		}
		part := strings.Split(text, "_")
		if got := append(decode(t, part[1]), decode(t, part[2])...); !bytes.Equal(got, random) {
			t.Fatalf("of %x came %x", random, got)
		}
		if again, err := access.ParseKey(text); err != nil || again.Reveal() != text || !again.Matches(key.Digest()) {
			t.Fatalf("%s is read as %s, %v", text, again.Reveal(), err)
		}
	})
}

// decode reads base32 by the standard library, which is told of its case and padding.
func decode(t interface{ Fatal(...any) }, text string) []byte {
	b, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.ToUpper(text))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestNoKeyOfTooLittleRandomness(t *testing.T) {
	key, err := access.NewKey(bytes.NewReader(counting(41)))
	if !errors.Is(err, io.ErrUnexpectedEOF) || key != (access.Key{}) {
		t.Errorf("%s, %v", key.Reveal(), err)
	}
	if key.Matches(key.Digest()) {
		t.Error("no key matches something")
	}
}

// sealed gives a text the checksum that it should have.
func sealed(text string) string { return fmt.Sprintf("%s_%08x", text, access.Checksum(text)) }

func TestKeysHaveOneSpelling(t *testing.T) {
	signed := worked[:len(worked)-9]
	for name, text := range map[string]string{
		"nothing":              "",
		"one underscore":       "_",
		"upper case":           strings.ToUpper(worked),
		"upper case, sealed":   sealed(strings.ToUpper(signed)),
		"upper case checksum":  signed + "_" + strings.ToUpper(worked[len(worked)-8:]),
		"space before":         " " + worked,
		"line end after":       worked + "\n",
		"shorter":              worked[:len(worked)-1],
		"longer":               worked + "0",
		"another prefix":       sealed("mwx" + signed[3:]),
		"dashes":               sealed(strings.ReplaceAll(signed, "_", "-")),
		"no checksum":          signed,
		"zeros for checksum":   signed + "_00000000",
		"a digit of no base32": sealed(strings.Replace(signed, "q", "1", 1)),
		"line end within":      sealed(strings.Replace(signed, "q", "\n", 1)),
		"padding":              sealed(signed[:len(signed)-1] + "="),
		"an overlong end":      sealed(signed[:len(signed)-1] + "r"), // the same 32 bytes to readers that forgive
		"letters of two bytes": sealed(strings.Replace(signed, "qe", "é", 1)),
		"shifted fields":       sealed("mwk_" + workedID + workedSecret[:1] + "_" + workedSecret[1:]),
	} {
		if key, err := access.ParseKey(text); !errors.Is(err, access.ErrMalformed) || key != (access.Key{}) {
			t.Errorf("%s: %q is read as %s, %v", name, text, key.Reveal(), err)
		}
	}
	if _, err := access.ParseKey(sealed(signed)); err != nil {
		t.Errorf("the seal itself is wrong: %v", err)
	}
}

// A CRC of 32 bits finds every error within 32 bits in a row, of which a wrong letter and two neighbours that changed places are
// cases (common practice, no source).
func TestMistypedKeysAreTold(t *testing.T) {
	for i := range worked {
		for _, letter := range "abcdefghijklmnopqrstuvwxyz0123456789_" {
			wrong := worked[:i] + string(letter) + worked[i+1:]
			if _, err := access.ParseKey(wrong); wrong != worked && err == nil {
				t.Errorf("%s is read", wrong)
			}
		}
		if i > 0 {
			wrong := worked[:i-1] + worked[i:i+1] + worked[i-1:i] + worked[i+1:]
			if _, err := access.ParseKey(wrong); wrong != worked && err == nil {
				t.Errorf("%s is read", wrong)
			}
		}
	}
}

func FuzzParseKey(f *testing.F) {
	for _, seed := range []string{worked, worked[:81] + "x", strings.ToUpper(worked), "", "mwk_", strings.Repeat("_", 82), strings.Repeat("é", 41)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		holdsOneSpelling(t, text)
		if len(text) >= 9 { // and with the checksum right, which chance would not find
			holdsOneSpelling(t, sealed(text[:len(text)-9]))
		}
	})
}

func holdsOneSpelling(t *testing.T, text string) {
	t.Helper()
	key, err := access.ParseKey(text)
	if err != nil {
		if err != access.ErrMalformed || key != (access.Key{}) { //nolint:errorlint // it must not even wrap the text
			t.Fatalf("%q: %s, %v", text, key.Reveal(), err)
		}
		return
	}
	part := strings.Split(text, "_")
	again := newKey(t, append(decode(t, part[1]), decode(t, part[2])...))
	if key.Reveal() != text || again.Reveal() != text || key.ID() != part[1] {
		t.Fatalf("%q is read as %s and made again as %s", text, key.Reveal(), again.Reveal())
	}
}

// holder keeps a key where printing cannot ask it how it wants to be printed.
type holder struct {
	key  access.Key
	more []access.Key
	at   *access.Key
}

func TestKeysDoNotLeak(t *testing.T) {
	key := newKey(t, counting(42))
	within := holder{key: key, more: []access.Key{key}, at: &key}
	open := struct {
		Key  access.Key
		At   *access.Key
		Keys map[string]access.Key
	}{key, &key, map[string]access.Key{"one": key}}
	var said strings.Builder
	for _, value := range []any{key, &key, []access.Key{key}, within, &within, []holder{within}, open} {
		said.WriteString(fmt.Sprint(value) + fmt.Sprintln(value))
		for _, flags := range []string{"", "+", "#", "-90", "090", " ", ".200"} {
			for _, verb := range "vTtbcdoOqxXUeEfFgGspw" {
				said.WriteString(fmt.Sprintf("%"+flags+string(verb), value) + "\n")
			}
		}
		said.WriteString(fmt.Errorf("refused %v", value).Error())
		doc, err := json.Marshal(value)
		if err != nil {
			t.Fatal(err)
		}
		said.Write(doc)
		slog.New(slog.NewJSONHandler(&said, nil)).Info("call", "key", value, slog.Group("in", "key", value))
		slog.New(slog.NewTextHandler(&said, nil)).Info("call", "key", value, slog.Group("in", "key", value))
	}
	if n := strings.Count(said.String(), "mwk_"+workedID+"_…"); n < 100 {
		t.Errorf("the key is named %d times only", n)
	}
	// %x and %X write what is shown in hexadecimal, so the secret is looked for in that too.
	lower := strings.ToLower(said.String())
	for _, piece := range []string{workedSecret[:10], workedSecret[21:31], workedSecret[42:], worked[len(worked)-8:]} {
		spaced := strings.TrimSpace(fmt.Sprintf("% x", piece))
		for _, form := range []string{piece, hex.EncodeToString([]byte(piece)), spaced} {
			if strings.Contains(lower, form) {
				t.Errorf("%q is shown", form)
			}
		}
	}
}

func TestKeysInWords(t *testing.T) {
	key := newKey(t, counting(42))
	const shown = "mwk_aaaqeayeaudaocaj_…"
	for format, want := range map[string]string{
		"%v": shown, "%+v": shown, "%s": shown, "%q": `"` + shown + `"`, "%#v": `"` + shown + `"`, "%25s": "   " + shown,
	} {
		if got := fmt.Sprintf(format, key); got != want {
			t.Errorf("%s: %s, want %s", format, got, want)
		}
	}
	if got := key.LogValue().String(); got != shown {
		t.Errorf("logged as %s", got)
	}
}

// What a secret is compared with tells nothing by its time: no comparison of digests in the package but subtle's.
func TestDigestsAreComparedInConstantTime(t *testing.T) {
	subtle := 0
	for _, file := range []string{"key.go", "gate.go"} {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BinaryExpr:
				if (n.Op == token.EQL || n.Op == token.NEQ) && (digest(n.X) || digest(n.Y)) {
					t.Errorf("%s compares a digest by %s", file, n.Op)
				}
			case *ast.SelectorExpr:
				switch name := fmt.Sprintf("%s.%s", n.X, n.Sel); name {
				case "subtle.ConstantTimeCompare":
					subtle++
				case "bytes.Equal", "bytes.Compare", "slices.Equal", "reflect.DeepEqual":
					t.Errorf("%s uses %s", file, name)
				}
			}
			return true
		})
	}
	if subtle != 1 {
		t.Errorf("subtle is used %d times, and should be by Matches alone", subtle)
	}
}

// digest reports whether an expression is a digest, of an array or of a slice of one.
func digest(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return strings.EqualFold(e.Name, "digest") || e.Name == "own"
	case *ast.SelectorExpr:
		return digest(e.Sel)
	case *ast.SliceExpr:
		return digest(e.X)
	case *ast.CallExpr:
		return digest(e.Fun)
	default:
		return false
	}
}

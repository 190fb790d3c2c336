package wire_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const briefFields = "allowed: client, deadline, delivery, options, partnerTerms, pieces, preparedOn, reference, rush, tax, title"

// sphere puts a value into the depth of a brief.
func sphere(diameter string) string {
	return `{"pieces": [{}, {"form": {"solids": [{"count": 2}, {"sphere": {"diameterMm": ` + diameter + `}}]}}]}`
}

// one is the list of one fault.
func one(path, message string) fault.List { return fault.List{{Path: path, Message: message}} }

func TestDecodeNamesEveryFault(t *testing.T) {
	const deep = "pieces[1].form.solids[1].sphere"
	handings := "allowed: HANDING_SINGLE, HANDING_PAIR"
	for _, r := range []struct {
		name, doc string
		want      fault.List
	}{
		{"unknown field", `{"titel": "x"}`, one("titel", `no such field here; did you mean "title"? `+briefFields)},
		{"unknown field like none", `{"colour scheme": 1}`, one("colour scheme", "no such field here; "+briefFields)},
		{"unknown field in the depth", `{"pieces": [{}, {"form": {"solids": [{}, {"sphere": {"diametreMm": 3}}]}}]}`, one(deep+".diametreMm", `no such field here; did you mean "diameterMm"? allowed: diameterMm`)},
		{"unknown field with a whole value", `{"x": {"a": [1, {"b": [[]]}]}, "y": 1}`, append(one("x", "no such field here; "+briefFields), one("y", "no such field here; "+briefFields)...)},
		{"the right field in the wrong place", `{"pieces": [{"title": "x"}]}`, one("pieces[0].title", `no such field here; allowed: body, code, colour, exposure, finish, fixings, form, handing, installedHeightMm, laminate, mould, name and 6 more`)},
		{"name in capitals", `{"Title": "x"}`, one("Title", `no such field here; did you mean "title"? `+briefFields)},
		{"name of a choice", `{"pieces": [{"form": {"solids": [{"shape": {}}]}}]}`, one("pieces[0].form.solids[0].shape", `no such field here; allowed: bentTube, box, cone, contactAreaM2, contactRimMm, count, cylinder, dome, ellipsoid, frustum, halved, prism and 4 more`)},
		{"long unknown name", `{"` + strings.Repeat("é", 200) + `": 1}`, one(strings.Repeat("é", 30)+"…", "no such field here; "+briefFields)},

		{"misspelt enum", `{"pieces": [{"handing": "HANDING_PEAR"}]}`, one("pieces[0].handing", `got "HANDING_PEAR"; did you mean "HANDING_PAIR"? `+handings)},
		{"enum in small letters", `{"pieces": [{"handing": "pair"}]}`, one("pieces[0].handing", `got "pair"; `+handings)},
		{"enum by number", `{"pieces": [{"handing": 2}]}`, one("pieces[0].handing", "got the number 2; "+handings)},
		{"enum by number in quotes", `{"pieces": [{"handing": "2"}]}`, one("pieces[0].handing", `got "2"; `+handings)},
		{"enum of the wrong type", `{"pieces": [{"handing": ["HANDING_PAIR"]}]}`, one("pieces[0].handing", "got a list; "+handings)},
		{"empty enum", `{"pieces": [{"handing": ""}]}`, one("pieces[0].handing", `got ""; `+handings)},

		{"NaN", sphere(`"NaN"`), one(deep+".diameterMm", `got "NaN", allowed: a finite number`)},
		{"Infinity", sphere(`"Infinity"`), one(deep+".diameterMm", `got "Infinity", allowed: a finite number`)},
		{"minus Infinity", sphere(`"-Infinity"`), one(deep+".diameterMm", `got "-Infinity", allowed: a finite number`)},
		{"too big a number", sphere(`1e999`), one(deep+".diameterMm", `got the number 1e999, allowed: a finite number`)},
		{"too big a number in quotes", sphere(`"-1e999"`), one(deep+".diameterMm", `got "-1e999", allowed: a finite number`)},
		{"words for a number", sphere(`"600 mm"`), one(deep+".diameterMm", `got "600 mm", allowed: a finite number`)},
		{"decimal comma", sphere(`"1,5"`), one(deep+".diameterMm", `got "1,5", allowed: a finite number`)},
		{"spaces round a number", sphere(`" 5"`), one(deep+".diameterMm", `got " 5", allowed: a finite number`)},
		{"space after a number", sphere(`"5 "`), one(deep+".diameterMm", `got "5 ", allowed: a finite number`)},
		{"hexadecimal", sphere(`"0x10"`), one(deep+".diameterMm", `got "0x10", allowed: a finite number`)},
		{"sign", sphere(`"+5"`), one(deep+".diameterMm", `got "+5", allowed: a finite number`)},
		{"empty number", sphere(`""`), one(deep+".diameterMm", `got "", allowed: a finite number`)},
		{"truth for a number", sphere(`true`), one(deep+".diameterMm", `got true, allowed: a finite number`)},
		{"object for a number", sphere(`{"mm": 5}`), one(deep+".diameterMm", `got an object, allowed: a finite number`)},
		{"fraction for a count", `{"pieces": [{"quantity": 1.5}]}`, one("pieces[0].quantity", "got the number 1.5, allowed: a whole number")},
		{"fraction too small to see", `{"pieces": [{"quantity": 1e-400}]}`, one("pieces[0].quantity", "got the number 1e-400, allowed: a whole number")},
		{"fraction too fine to see", `{"pieces": [{"quantity": 3.00000000000000000001}]}`, one("pieces[0].quantity", "got the number 3.00000000000000000001, allowed: a whole number")},
		{"count beyond 32 bits", `{"pieces": [{"quantity": 2147483648}]}`, one("pieces[0].quantity", "got the number 2147483648, allowed: a whole number from -2147483648 to 2147483647")},
		{"words for a count", `{"pieces": [{"quantity": "six"}]}`, one("pieces[0].quantity", `got "six", allowed: a whole number`)},
		{"long words for a count", `{"pieces": [{"quantity": "` + strings.Repeat("6", 70) + `!"}]}`, one("pieces[0].quantity", `got "`+strings.Repeat("6", 60)+`…", allowed: a whole number`)},

		{"number for a string", `{"title": 5}`, one("title", "got the number 5, allowed: a string")},
		{"number for a decimal", `{"partnerTerms": {"discountPercent": 7.5}}`, one("partnerTerms.discountPercent", `got the number 7.5, allowed: a decimal number in quotation marks, such as "7.5"`)},
		{"truth for a decimal", `{"partnerTerms": {"discountPercent": true}}`, one("partnerTerms.discountPercent", "got true, allowed: a string")},
		{"number for a day", `{"deadline": 20270301}`, one("deadline", "got the number 20270301, allowed: a string")},
		{"null where a list has an item", `{"pieces": [null]}`, one("pieces[0]", "got null, allowed: an object")},
		{"null where a list has a string", `{"options": [{"without": ["a", null]}]}`, one("options[0].without[1]", "got null, allowed: a string")},
		{"string for a truth", `{"pieces": [{"form": {"solids": [{"halved": "true"}]}}]}`, one("pieces[0].form.solids[0].halved", `got "true", allowed: true or false`)},
		{"number for a truth", `{"pieces": [{"form": {"solids": [{"halved": 1}]}}]}`, one("pieces[0].form.solids[0].halved", "got the number 1, allowed: true or false")},
		{"object for a list", `{"pieces": {"code": "a"}}`, one("pieces", "got an object, allowed: a list")},
		{"list for an object", `{"delivery": [85]}`, one("delivery", "got a list, allowed: an object")},
		{"string for an object", `{"delivery": "85 km"}`, one("delivery", `got "85 km", allowed: an object`)},
		{"string for a list", `{"pieces": "none"}`, one("pieces", `got "none", allowed: a list`)},
		{"list in a list", `{"pieces": [[{}]]}`, one("pieces[0]", "got a list, allowed: an object")},

		{"twice", `{"title": "a", "title": "a"}`, one("title", "stands more than once; a field may stand once")},
		{"twice by its two names", `{"preparedOn": "2027-03-01", "prepared_on": "2027-03-02"}`, one("prepared_on", "stands more than once; a field may stand once")},
		{"both of a choice", `{"pieces": [{"form": {"solids": [{"sphere": {}, "dome": {"x": 1}}]}}]}`, one("pieces[0].form.solids[0].dome", "stands beside sphere; allowed: one of the two")},
		{"both of a choice by its other name", `{"pieces": [{"form": {"solids": [{"bentTube": {}, "ring": {}}]}}]}`, one("pieces[0].form.solids[0].ring", "stands beside bentTube; allowed: one of the two")},
		{"snake case is reported as typed", `{"pieces": [{"form": {"solids": [{"bent_tube": {"bend_radius_mm": "x"}}]}}]}`, one("pieces[0].form.solids[0].bent_tube.bend_radius_mm", `got "x", allowed: a finite number`)},

		{"no document", ``, one("", "not valid JSON: the document ends too early, at line 1, column 1")},
		{"spaces only", " \n", one("", "not valid JSON: the document ends too early, at line 2, column 1")},
		{"no object", `[]`, one("", "got a list, allowed: an object")},
		{"null", `null`, one("", "got null, allowed: an object")},
		{"text", `"brief"`, one("", `got "brief", allowed: an object`)},
		{"truncated", `{"title": "x"`, one("", "not valid JSON: the document ends too early, at line 1, column 14")},
		{"truncated in a string", `{"title": "x`, one("", "not valid JSON: the document ends too early, at line 1, column 13")},
		{"truncated in a list", `{"pieces": [{}, `, one("", "not valid JSON: the document ends too early, at line 1, column 17")},
		{"truncated behind a name", `{"pieces":`, one("", "not valid JSON: the document ends too early, at line 1, column 11")},
		{"nothing but the truncation is told", `{"titel": "x", "pieces": [{`, one("", "not valid JSON: the document ends too early, at line 1, column 28")},
		{"garbage after the end", `{} {}`, one("", "not valid JSON at line 1, column 4: invalid character '{' after top-level value")},
		{"brace after the end", `{}}`, one("", "not valid JSON at line 1, column 3: invalid character '}' after top-level value")},
		{"byte order mark", "\ufeff{\"titel\": 1}", one("titel", `no such field here; did you mean "title"? `+briefFields)},
		{"two byte order marks", "\ufeff\ufeff{}", one("", "not valid JSON at line 1, column 1: invalid character 'ï' looking for beginning of value")},
		{"byte order mark inside", "{\ufeff}", one("", "not valid JSON at line 1, column 2: invalid character 'ï' looking for beginning of object key string")},
		{"on a later line", "{\r\n\t\"title\": \"é\",\r\n\t\"client\": \"é\" 5}", one("", "not valid JSON at line 3, column 16: invalid character '5' after object key:value pair")},
		{"deeper than any document", `{"x":` + strings.Repeat("[", 10_001), one("", "not valid JSON at line 1, column 10005: invalid character '['")},
		{"trailing comma", `{"title": "x",}`, one("", "not valid JSON at line 1, column 15: invalid character '}'")},
		{"single quotes", `{'title': 'x'}`, one("", "not valid JSON at line 1, column 2: invalid character '\\''")},
		{"comment", `{/* */}`, one("", "not valid JSON at line 1, column 2: invalid character '/'")},
		{"bare NaN", sphere(`NaN`), one("", "not valid JSON at line 1, column 78: invalid character 'N'")},
		{"number that starts with 0", `{"pieces": [{"quantity": 07}]}`, one("", "not valid JSON at line 1, column 27: invalid character '7'")},
		{"line break in a string", "{\"title\": \"a\nb\"}", one("", "not valid JSON at line 1, column 13: invalid character '\\n' in string literal")},
		{"invalid UTF-8", "{\"title\": \"a\xff\"}", one("", "not valid UTF-8 at line 1, column 13")},
		{"surrogate in UTF-8", "{\"title\": \"\xed\xa0\x80\"}", one("", "not valid UTF-8 at line 1, column 12")},
		{"first half of a pair", `{"title": "a\ud83d"}`, one("", "not valid JSON at line 1, column 13: half of a surrogate pair stands alone")},
		{"second half of a pair", `{"title": "a\uDE00b"}`, one("", "not valid JSON at line 1, column 13: half of a surrogate pair stands alone")},
		{"two first halves", `{"title": "\ud83d\ud83d"}`, one("", "not valid JSON at line 1, column 12: half of a surrogate pair stands alone")},
		{"half in a name", `{"titl\ud83de": 1}`, one("", "not valid JSON at line 1, column 7: half of a surrogate pair stands alone")},
	} {
		t.Run(r.name, func(t *testing.T) {
			got := wire.Decode([]byte(r.doc), &mouldwrightv1.Brief{})
			if strings.HasPrefix(r.want[len(r.want)-1].Message, "not valid JSON at line") {
				got = firstWords(got, r.want)
			}
			if !slices.Equal(got, r.want) {
				t.Errorf("%s\ngot  %v\nwant %v", r.doc, got, r.want)
			}
		})
	}
}

// Every fault that is the whole document's stands alone and says so, and no other does.
func TestUnreadableDocuments(t *testing.T) {
	more := `{"pieces": [` + strings.Repeat(`{"x": 1},`, 500) + `{}]}`
	for doc, want := range map[string]bool{
		`{}`: false, `{"titel": 1}`: false, more: false,
		``: true, `[]`: true, `{"titel": 1,`: true, `{"titel": 1} x`: true, "{\"titel\": 1, \"title\": \"\xff\"}": true, `{"titel": "\ud800"}`: true,
		`{"titel": 1, "pieces": [` + strings.Repeat(`{},`, 20_000) + `{}]}`: true,
	} {
		faults := wire.Decode([]byte(doc), &mouldwrightv1.Brief{})
		if got := wire.Unreadable(faults); got != want || want && len(faults) != 1 {
			t.Errorf("%.80q: unreadable %v, want %v: %v", doc, got, want, faults)
		}
	}
	if wire.Unreadable(nil) {
		t.Error("a document without faults can be read")
	}
}

// The bound is on all lists together: many short ones cost as much as a long one.
func TestDecodeStopsAtSoManyItems(t *testing.T) {
	stop := one("", "more than 20000 items in lists; allowed: 20000 in one document")
	options := func(each, times int) string {
		option := `{"without": [` + strings.Repeat(`"a",`, each-1) + `"a"]}`
		return `{"options": [` + strings.Repeat(option+",", times-1) + option + "]}"
	}
	for _, r := range []struct {
		doc  string
		want fault.List
	}{
		{options(19_999, 1), nil},
		{options(20_000, 1), stop},
		{options(99, 200), nil},
		{options(99, 200)[:len(options(99, 200))-2] + ", {}]}", stop},
	} {
		if got := wire.Decode([]byte(r.doc), &mouldwrightv1.Brief{}); !slices.Equal(got, r.want) {
			t.Errorf("%.40s: got %v, want %v", r.doc, got, r.want)
		}
	}
}

// firstWords cuts what follows the expected words: the JSON decoder's own.
func firstWords(got, want fault.List) fault.List {
	got = slices.Clone(got)
	for i := range got {
		if i < len(want) && strings.HasPrefix(got[i].Message, want[i].Message) {
			got[i].Message = want[i].Message
		}
	}
	return got
}

func TestDecodeTakesWhatProtoJSONTakes(t *testing.T) {
	for _, doc := range []string{
		`{}`, ` { } `, `{"title": "a\\\ud83d\ude00\u00e9\"\/\b"}`, `{"title": "\\ud83d"}`, `{"title": "\u0000"}`,
		`{"title": null, "pieces": null, "delivery": null}`, `{"pieces": [], "options": []}`,
		sphere(`600`), sphere(`"600"`), sphere(`"6e2"`), sphere(`-0`), sphere(`1e-400`), sphere(`6.0E+2`), sphere(`null`),
		`{"pieces": [{"quantity": 6.0}]}`, `{"pieces": [{"quantity": "6"}]}`, `{"pieces": [{"quantity": 0.6e1}]}`, `{"pieces": [{"quantity": 60e-1}]}`,
		`{"pieces": [{"quantity": -2147483648}, {"quantity": 2147483647}, {"quantity": -0}, {"quantity": 0.0}]}`,
		`{"prepared_on": "2027-03-01", "partner_terms": {"discount_percent": "5"}}`,
		`{"pieces": [{"handing": "HANDING_UNSPECIFIED"}]}`,
		`{"pieces": [{"form": {"solids": [{"sphere": null, "dome": {}}]}}]}`,
		`{"options": [{"rush": ""}, {"rush": null}]}`,
	} {
		got, want := &mouldwrightv1.Brief{}, &mouldwrightv1.Brief{}
		if faults := wire.Decode([]byte(doc), got); len(faults) > 0 {
			t.Errorf("%s: %v", doc, faults)
		}
		if err := protojson.Unmarshal([]byte(doc), want); err != nil {
			t.Errorf("%s: %v", doc, err)
		}
		if !proto.Equal(got, want) {
			t.Errorf("%s\ngot  %v\nwant %v", doc, got, want)
		}
	}
}

// What is sound is set, so that the next checks find their faults too, and items
// that are not keep their place.
func TestDecodeSetsWhatIsSound(t *testing.T) {
	var got mouldwrightv1.Brief
	faults := wire.Decode([]byte(`{"title": "Trail", "rush": 5, "pieces": ["?", {"code": "a", "size": 1}, {"code": "b"}], "options": [{"without": ["a", 1, "b"]}]}`), &got)
	if len(faults) != 4 {
		t.Errorf("got %v", faults)
	}
	want := &mouldwrightv1.Brief{
		Title: "Trail", Pieces: []*mouldwrightv1.Piece{{}, {Code: "a"}, {Code: "b"}},
		Options: []*mouldwrightv1.Option{{Without: []string{"a", "", "b"}}},
	}
	if !proto.Equal(&got, want) {
		t.Errorf("got %v, want %v", &got, want)
	}
}

func TestDecodeListsAHundredFaults(t *testing.T) {
	for _, r := range []struct{ faults, listed int }{{99, 99}, {100, 100}, {101, 101}, {5000, 101}} {
		doc := `{"pieces": [` + strings.Repeat(`{"x": 1},`, r.faults-1) + `{"x": 1}]}`
		got := wire.Decode([]byte(doc), &mouldwrightv1.Brief{})
		if len(got) != r.listed {
			t.Errorf("%d faults: %d listed, want %d", r.faults, len(got), r.listed)
		}
		last := got[len(got)-1]
		if cut := last == (fault.Fault{Message: "more faults than are listed here"}); cut != (r.faults > 100) {
			t.Errorf("%d faults: the last is %v", r.faults, last)
		}
	}
}

// The decoder knows these kinds only; a field of another would be read wrong.
func TestTheContractHasNoOtherKindOfField(t *testing.T) {
	known := []protoreflect.Kind{
		protoreflect.StringKind, protoreflect.BoolKind, protoreflect.EnumKind, protoreflect.Int32Kind, protoreflect.DoubleKind, protoreflect.MessageKind,
		protoreflect.BytesKind,
	}
	for _, mt := range messageTypes(t) {
		fields := mt.Descriptor().Fields()
		for i := range fields.Len() {
			f := fields.Get(i)
			if !slices.Contains(known, f.Kind()) || f.IsMap() {
				t.Errorf("%s is of kind %s: teach the decoder", f.FullName(), f.Kind())
			}
			inner := f.Message()
			if inner != nil && inner.ParentFile().Package() == "google.protobuf" && inner.FullName() != "google.protobuf.FieldMask" {
				t.Errorf("%s is a %s, which has a JSON of its own: teach the decoder", f.FullName(), inner.FullName())
			}
		}
	}
}

func TestDecodeReadsWhatProtoJSONWrites(t *testing.T) {
	for _, mt := range messageTypes(t) {
		t.Run(string(mt.Descriptor().Name()), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				want := mt.New()
				fill(t, want, 3)
				sound(want)
				doc, err := protojson.Marshal(want.Interface())
				if err != nil {
					t.Fatal(err)
				}
				got := mt.New()
				if faults := wire.Decode(doc, got.Interface()); len(faults) > 0 {
					t.Fatalf("%s\n%v", doc, faults)
				}
				if !proto.Equal(got.Interface(), want.Interface()) {
					t.Fatalf("%s\ngot  %v\nwant %v", doc, got, want)
				}
			})
		})
	}
}

// sound takes out what the decoder refuses on purpose: numbers that are not
// finite and enum values without a name.
func sound(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				sound(v.List().Get(i).Message())
			}
		case f.IsList():
			if f.Enum() != nil && !named(f, v.List()) {
				m.Clear(f)
			}
		case f.Message() != nil:
			sound(v.Message())
		case f.Kind() == protoreflect.DoubleKind && (math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0)):
			m.Clear(f)
		case f.Enum() != nil && f.Enum().Values().ByNumber(v.Enum()) == nil:
			m.Clear(f)
		}
		return true
	})
}

func named(f protoreflect.FieldDescriptor, l protoreflect.List) bool {
	for i := range l.Len() {
		if f.Enum().Values().ByNumber(l.Get(i).Enum()) == nil {
			return false
		}
	}
	return true
}

func TestDecodeReadsTheDemoDocuments(t *testing.T) {
	for name, doc := range documents(t) {
		got, want := emptyFor(name), emptyFor(name)
		if faults := wire.Decode(doc, got); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
		}
		if err := protojson.Unmarshal(doc, want); err != nil || !proto.Equal(got, want) {
			t.Errorf("%s: not what ProtoJSON reads (%v)", name, err)
		}
	}
}

const bookName = "rate book"

func emptyFor(name string) proto.Message {
	if name == bookName {
		return &mouldwrightv1.RateBook{}
	}
	return &mouldwrightv1.Brief{}
}

// documents reads the demo briefs and the demo rate book.
func documents(t testing.TB) map[string][]byte {
	t.Helper()
	docs := map[string][]byte{bookName: demo.Document()}
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "briefs", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no briefs found: %v", err)
	}
	for _, file := range files {
		doc, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		docs[filepath.Base(file)] = doc
	}
	return docs
}

// FuzzDecode holds Decode to ProtoJSON: it may refuse more, but what it takes it
// reads alike; and it never panics.
func FuzzDecode(f *testing.F) {
	for name, doc := range documents(f) {
		f.Add(doc, name == bookName)
	}
	for _, doc := range []string{
		sphere(`1e-400`), sphere(`"-0"`), `{"pieces": [{"quantity": 1e1}]}`, `{"title": "\ud83d\ude00\\u"}`, `{"a":[{},{}]}`, `{"pieces":[{"quantity":10e-1}]}`,
		`{"pieces":[{"quantity":0.0000000000000000000000001e25}]}`, `{"pieces":[{"quantity":0e-5}]}`,
	} {
		f.Add([]byte(doc), false)
	}
	f.Fuzz(func(t *testing.T, doc []byte, book bool) {
		name := ""
		if book {
			name = bookName
		}
		got, want := emptyFor(name), emptyFor(name)
		if faults := wire.Decode(doc, got); len(faults) > 0 {
			return
		}
		if err := protojson.Unmarshal(doc, want); err != nil {
			t.Fatalf("taken, but ProtoJSON says %v: %s", err, doc)
		}
		if !proto.Equal(got, want) {
			t.Fatalf("%s\ngot  %v\nwant %v", doc, got, want)
		}
		kept := emptyFor(name)
		if err := wire.DecodeKept(doc, kept); err != nil || !proto.Equal(kept, want) {
			t.Fatalf("kept, it is read otherwise: %s\ngot  %v (%v)\nwant %v", doc, kept, err, want)
		}
	})
}

func TestHostileDocumentsAreReadInBoundedTime(t *testing.T) {
	const mebibyte = 1 << 20
	keys := func(format string) string {
		var b strings.Builder
		for i := range 100_000 {
			fmt.Fprintf(&b, format, i)
		}
		return "{" + strings.TrimSuffix(b.String(), ",") + "}"
	}
	for name, doc := range map[string]string{
		"a list of objects":            "[" + strings.Repeat("{},", mebibyte/3) + "{}]",
		"pieces without end":           `{"pieces": [` + strings.Repeat("{},", mebibyte/3) + "{}]}",
		"pieces without sense":         `{"pieces": [` + strings.Repeat(`{"x":1},`, mebibyte/8) + "{}]}",
		"opened and never closed":      strings.Repeat("[", mebibyte),
		"deep under an unknown name":   `{"x": ` + strings.Repeat("[", mebibyte/2) + strings.Repeat("]", mebibyte/2) + "}",
		"deep objects":                 strings.Repeat(`{"x":`, mebibyte/5),
		"a number of a million digits": sphere(strings.Repeat("9", 1_000_000)),
		"a million decimals":           sphere("0." + strings.Repeat("3", 1_000_000)),
		"a count of a million digits":  `{"pieces": [{"quantity": 1` + strings.Repeat("0", 1_000_000) + "}]}",
		"a count with a huge exponent": `{"pieces": [{"quantity": 1e-999999999}, {"quantity": 1e999999999}]}`,
		"a hundred thousand names":     keys(`"k%d":1,`),
		"a hundred thousand near ones": keys(`"titl%d":1,`),
		"one name again and again":     "{" + strings.Repeat(`"title":"a",`, 80_000) + `"title":"a"}`,
		"a name of a mebibyte":         `{"` + strings.Repeat("t", mebibyte) + `":1}`,
		"an enum of a mebibyte":        `{"pieces": [{"handing": "` + strings.Repeat("H", mebibyte) + `"}]}`,
		"backslashes":                  `{"title": "` + strings.Repeat(`\\`, mebibyte/2) + `"}`,
		"surrogates":                   `{"title": "` + strings.Repeat(`\ud83d\ude00`, mebibyte/12) + `"}`,
	} {
		t.Run(name, func(t *testing.T) {
			faults := wire.Decode([]byte(doc), &mouldwrightv1.Brief{})
			if len(faults) > 101 {
				t.Errorf("%d faults listed", len(faults))
			}
			for _, f := range faults {
				if len(f.Path) > 300 || len(f.Message) > 500 {
					t.Errorf("a fault of %d and %d bytes repeats the input: %.80s", len(f.Path), len(f.Message), f.Message)
				}
			}
		})
	}
}

func BenchmarkDecodeTheDemoBook(b *testing.B) {
	doc := bytes.Clone(demo.Document())
	b.ReportAllocs()
	for b.Loop() {
		if faults := wire.Decode(doc, &mouldwrightv1.RateBook{}); len(faults) > 0 {
			b.Fatal(faults)
		}
	}
}

// What is kept may have more items than what comes in, and what is wrong with it is no caller's
// fault.
func TestDecodeKeptHasNoBoundOnItems(t *testing.T) {
	doc := []byte(`{"options": [{"without": [` + strings.Repeat(`"a",`, 30_000) + `"a"]}]}`)
	if faults := wire.Decode(doc, &mouldwrightv1.Brief{}); !wire.Unreadable(faults) {
		t.Fatalf("a caller's: %v", faults)
	}
	got := &mouldwrightv1.Brief{}
	if err := wire.DecodeKept(doc, got); err != nil || len(got.GetOptions()[0].GetWithout()) != 30_001 {
		t.Errorf("%d items, %v", len(got.GetOptions()[0].GetWithout()), err)
	}
	for bad, says := range map[string]string{
		``: "not valid JSON", `[]`: "got a list, allowed: an object", `{"titel": "x"}`: "titel: no such field here", `{"titel": 1, "client": 2}`: "client: got the number 2",
	} {
		err := wire.DecodeKept([]byte(bad), &mouldwrightv1.Brief{})
		var faults fault.List
		if err == nil || errors.As(err, &faults) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v", bad, err)
		}
	}
}

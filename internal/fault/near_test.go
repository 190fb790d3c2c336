package fault_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/fault"
)

func TestNearest(t *testing.T) {
	codes := []string{"gloss", "satin", "matt", "hand-painted", "metal-flake"}
	for _, r := range []struct {
		got, near string
		ok        bool
	}{
		{"gloss", "gloss", true},
		{"glos", "gloss", true},   // one left out
		{"glosss", "gloss", true}, // one too many
		{"gluss", "gloss", true},  // one changed
		{"golss", "gloss", true},  // two swapped count once
		{"saitn", "satin", true},  // as in "titel"
		{"mat", "matt", true},     // one in three
		{"ma", "", false},         // a third of two is none
		{"shiny", "", false},      // nothing like it
		{"", "", false},           // nothing was said
		{"hand painted", "hand-painted", true},
		{"handpained", "hand-painted", true},
		{"Gloss", "gloss", true},
		{"GLOSS", "", false},
		{strings.Repeat("g", 101), "", false}, // no code is so long
	} {
		if near, ok := fault.Nearest(r.got, codes); near != r.near || ok != r.ok {
			t.Errorf("%q: got %q, %v, want %q, %v", r.got, near, ok, r.near, r.ok)
		}
	}
}

// A field's name without its unit is the commonest guess at it.
func TestABeginningIsNear(t *testing.T) {
	fields := []string{"diameterMm", "heightMm", "depthMm", "contactAreaM2", "contactRimMm"}
	for _, r := range []struct {
		got, near string
	}{
		{"depth", "depthMm"},
		{"height", "heightMm"},
		{"dia", "diameterMm"},
		{"hei", "heightMm"},
		{"he", ""},      // of two letters
		{"contact", ""}, // of two fields
		{"Depth", ""},
		{"epthMm", "depthMm"}, // by edits, as ever
	} {
		if near, ok := fault.Nearest(r.got, fields); near != r.near || ok != (r.near != "") {
			t.Errorf("%q: got %q, %v, want %q", r.got, near, ok, r.near)
		}
	}
}

func TestNearestTakesTheFirstOfEquals(t *testing.T) {
	if near, _ := fault.Nearest("cat", []string{"bat", "car", "hat"}); near != "bat" {
		t.Errorf("got %q", near)
	}
}

func TestNearestOfNone(t *testing.T) {
	if near, ok := fault.Nearest("gloss", nil); ok {
		t.Errorf("got %q", near)
	}
}

// However a code of six letters or more is mistyped once, it is found again
// among others that are nothing like it.
func TestOneSlipIsForgiven(t *testing.T) {
	others := []string{"0000000000", "1111111111", "2222222222"}
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.StringMatching(`[a-z]{6,20}`).Draw(t, "code")
		at := rapid.IntRange(0, len(code)-2).Draw(t, "at")
		slips := []string{
			code[:at] + code[at+1:],
			code[:at] + "-" + code[at:],
			code[:at] + "-" + code[at+1:],
			code[:at] + code[at+1:at+2] + code[at:at+1] + code[at+2:],
		}
		for _, slip := range slips {
			if near, ok := fault.Nearest(slip, append(slices.Clone(others), code)); !ok || near != code {
				t.Errorf("%q for %q: got %q, %v", slip, code, near, ok)
			}
		}
	})
}

// No code and no field name is as long as this: comparing it would cost time and
// could not help.
func TestNearestPassesOverLongTexts(t *testing.T) {
	long := strings.Repeat("x", 101)
	if near, ok := fault.Nearest(long, []string{long}); ok {
		t.Errorf("got %q", near)
	}
}

func TestAllowed(t *testing.T) {
	many := strings.Split("a b c d e f g h i j k l m n", " ")
	for _, r := range []struct {
		got     string
		allowed []string
		want    string
	}{
		{"x", []string{"gloss"}, "allowed: gloss"},
		{"glos", []string{"gloss", "satin"}, `did you mean "gloss"? allowed: gloss, satin`},
		{"", []string{"gloss", "satin"}, "allowed: gloss, satin"},
		{"xyz", many[:12], "allowed: a, b, c, d, e, f, g, h, i, j, k, l"},
		{"xyz", many[:13], "allowed: a, b, c, d, e, f, g, h, i, j, k, l and 1 more"},
		{"glos", append(slices.Clone(many), "gloss"), `did you mean "gloss"? allowed: a, b, c, d, e, f, g, h, i, j, k, l and 3 more`},
		{"x", nil, "allowed: none"},
	} {
		if got := fault.Allowed(r.got, r.allowed); got != r.want {
			t.Errorf("%q: got %q, want %q", r.got, got, r.want)
		}
	}
}

func TestUnder(t *testing.T) {
	for _, r := range []struct{ prefix, path, want string }{
		{"brief", "pieces[0].code", "brief.pieces[0].code"},
		{"brief", "", "brief"},
		{"", "pieces", "pieces"},
		{"skills", "[3]", "skills[3]"},
		{"", "", ""},
	} {
		l := fault.List{{Path: r.path, Message: "m"}}
		if got := l.Under(r.prefix); got[0].Path != r.want || got[0].Message != "m" {
			t.Errorf("%q under %q: got %v, want %q", r.path, r.prefix, got, r.want)
		}
		if l[0].Path != r.path {
			t.Errorf("the list itself was changed to %v", l)
		}
	}
}

func TestPaths(t *testing.T) {
	var root fault.Path
	options := root.Item("options", 1)
	without := options.Field("without")
	at := without.At(2)
	for got, want := range map[string]string{
		root.String(): "", options.String(): "options[1]", without.String(): "options[1].without", at.String(): "options[1].without[2]",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestListsAreErrorsOfOneLineEach(t *testing.T) {
	l := fault.List{{Path: "a", Message: "1"}, {Message: "whole document"}}
	if got, want := l.Error(), "a: 1\nwhole document"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestRefusals(t *testing.T) {
	if err := fault.Unless(true, "film, mm", 1, "0 to 5"); err != nil {
		t.Errorf("got %v", err)
	}
	err := fault.Unless(false, "film, mm", 7.5, "0 to 5")
	if want := "film, mm: got 7.5, allowed 0 to 5"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

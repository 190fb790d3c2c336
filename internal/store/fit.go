package store

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/life"
)

// Bounds of what is kept beside documents, in bytes: an index of PostgreSQL holds no more than
// 2704 in a row.
const (
	longest      = 255
	longestTitle = 800 // 200 characters of up to four bytes, as the contract bounds them
)

// mostMeshes bounds how many meshes a revision refers to.
const mostMeshes = 1000

// largestRoom bounds what a mesh may say that it takes, so that the sum of many is a number.
const largestRoom = 1 << 40

// Fit holds keys to what every store keeps alike, else they are ErrUnfit: a line of text of 1 to
// 255 bytes in UTF-8. PostgreSQL takes no NUL and nothing that is not UTF-8, and a line that ends
// in the middle of a key would be read as two. The error says what the key was for.
func Fit(what, key string) error {
	if key == "" {
		return fmt.Errorf("%w: %s is empty", ErrUnfit, what)
	}
	return FitOrEmpty(what, key)
}

// FitOrEmpty is Fit for a key that may be empty.
func FitOrEmpty(what, key string) error { return fitLine(what, key, longest) }

// Readable reports whether there could be keys like these: what is not fit was never kept.
func Readable(keys ...string) bool {
	for _, key := range keys {
		if FitOrEmpty("", key) != nil {
			return false
		}
	}
	return true
}

// FitWords holds words that may have several lines to what every store keeps alike: at most 800
// bytes in UTF-8 without NUL.
func FitWords(what, text string) error { return fitText(what, text, longestTitle) }

func fitTitle(what, title string) error { return fitLine(what, title, longestTitle) }

func fitLine(what, line string, longest int) error {
	if err := fitText(what, line, longest); err != nil {
		return err
	}
	for _, r := range line {
		if unicode.IsControl(r) {
			return fmt.Errorf("%w: %s %q holds the control character %U", ErrUnfit, what, line, r)
		}
	}
	return nil
}

func fitText(what, text string, longest int) error {
	if len(text) > longest {
		return fmt.Errorf("%w: %s has %d bytes, at most %d are kept", ErrUnfit, what, len(text), longest)
	}
	if !utf8.ValidString(text) || strings.ContainsRune(text, 0) {
		return fmt.Errorf("%w: %s %q is not UTF-8 without NUL", ErrUnfit, what, text)
	}
	return nil
}

// FitDay holds that there is a day.
func FitDay(d life.Day) error {
	if !d.Valid() {
		return fmt.Errorf("%w: there is no day %q", ErrUnfit, d)
	}
	return nil
}

// FitMark holds that who made a change can be kept.
func FitMark(m life.Mark) error {
	return errors.Join(FitOrEmpty("the actor's kind", m.By.Kind), fitTitle("the actor's name", m.By.Name))
}

// Fit holds that the content can be kept, as far as can be said without looking.
func (c Content) Fit() error {
	if c.Engine < 0 || c.Engine > math.MaxInt32 {
		return fmt.Errorf("%w: there is no engine of edition %d", ErrUnfit, c.Engine)
	}
	return errors.Join(Fit("the rate book revision", c.RateBook), FitOrEmpty("the fingerprint", c.Fingerprint), c.Summary.fit(), fitRefs(c.Meshes))
}

// fit lets words have several lines: they are the caller's, and shown as they are.
func (s Summary) fit() error {
	return errors.Join(
		FitWords("the title", s.Title), FitWords("the client", s.Client), FitWords("the reference", s.Reference),
		FitOrEmpty("the currency", s.Currency), FitOrEmpty("the net price", s.Net),
	)
}

func fitRefs(meshes []MeshRef) error {
	if len(meshes) > mostMeshes {
		return fmt.Errorf("%w: %d meshes, at most %d are kept", ErrUnfit, len(meshes), mostMeshes)
	}
	seen := map[string]bool{}
	for _, m := range meshes {
		if seen[m.Name] {
			return fmt.Errorf("%w: mesh %s stands twice", ErrUnfit, m.Name)
		}
		seen[m.Name] = true
		if err := errors.Join(Fit("the mesh", m.Name), Fit("the mesh's sum", m.Sum)); err != nil {
			return err
		}
	}
	return nil
}

// Fit holds that the partner can be kept, as far as can be said without looking.
func (p Partner) Fit() error {
	return errors.Join(Fit("the partner", p.ID), fitTitle("the partner's title", p.Title))
}

// Fit holds that the key can be kept, as far as can be said without looking.
func (k Key) Fit() error {
	scopes := strings.Join(k.Scopes, " ")
	if !slices.Equal(strings.Fields(scopes), k.Scopes) {
		return fmt.Errorf("%w: a scope is empty or holds a space", ErrUnfit)
	}
	return errors.Join(Fit("the key's id", k.ID), FitOrEmpty("the owner", k.Owner), fitTitle("the key's title", k.Title), FitOrEmpty("the scopes", scopes))
}

// Fit holds that the mesh can be kept, as far as can be said without looking.
func (m Mesh) Fit() error {
	if m.Room < 0 || m.Room > largestRoom {
		return fmt.Errorf("%w: a mesh does not take %d bytes", ErrUnfit, m.Room)
	}
	return errors.Join(FitOrEmpty("the owner", m.Owner), Fit("the mesh", m.Name), Fit("the mesh's sum", m.Sum), FitOrEmpty("the format", m.Format))
}

// Fit holds that the enquiry can be kept, as far as can be said without looking.
func (e Enquiry) Fit() error { return errors.Join(Fit("the enquiry", e.ID), FitDay(e.Until)) }

// Fit holds that the request can be kept, as far as can be said without looking.
func (r Request) Fit() error {
	return errors.Join(Fit("the caller", r.Caller), Fit("the request id", r.ID))
}

// Fit holds that the rate book can be kept, as far as can be said without looking.
func (b RateBook) Fit() error { return Fit("the rate book revision", b.Revision) }

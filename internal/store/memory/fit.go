package memory

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Bounds of what is kept beside documents, in bytes, and of the meshes of a revision: as the
// databases have them.
const (
	longest      = 255
	longestTitle = 800
	mostMeshes   = 1000
	largestRoom  = 1 << 40
)

// fit holds keys to what every store keeps alike.
func fit(what, key string) error {
	if key == "" {
		return fmt.Errorf("%w: %s is empty", store.ErrUnfit, what)
	}
	return fitOrEmpty(what, key)
}

func fitOrEmpty(what, key string) error { return fitLine(what, key, longest) }

func fitTitle(what, title string) error { return fitLine(what, title, longestTitle) }

func fitLine(what, line string, longest int) error {
	if err := fitText(what, line, longest); err != nil {
		return err
	}
	for _, r := range line {
		if unicode.IsControl(r) {
			return fmt.Errorf("%w: %s %q holds the control character %U", store.ErrUnfit, what, line, r)
		}
	}
	return nil
}

// fitText is for words that may have several lines.
func fitText(what, text string, longest int) error {
	if len(text) > longest {
		return fmt.Errorf("%w: %s has %d bytes, at most %d are kept", store.ErrUnfit, what, len(text), longest)
	}
	if !utf8.ValidString(text) || strings.ContainsRune(text, 0) {
		return fmt.Errorf("%w: %s %q is not UTF-8 without NUL", store.ErrUnfit, what, text)
	}
	return nil
}

// readable reports whether there could be a key like this: what is not fit was never kept.
func readable(keys ...string) bool {
	for _, key := range keys {
		if fitOrEmpty("", key) != nil {
			return false
		}
	}
	return true
}

func fitMark(m life.Mark) error {
	return errors.Join(fitOrEmpty("the actor's kind", m.By.Kind), fitTitle("the actor's name", m.By.Name))
}

func fitContent(c store.Content) error {
	if c.Engine < 0 || c.Engine > math.MaxInt32 {
		return fmt.Errorf("%w: there is no engine of edition %d", store.ErrUnfit, c.Engine)
	}
	return errors.Join(fit("the rate book revision", c.RateBook), fitOrEmpty("the fingerprint", c.Fingerprint), fitSummary(c.Summary), fitRefs(c.Meshes))
}

func fitSummary(s store.Summary) error {
	return errors.Join(
		fitText("the title", s.Title, longestTitle), fitText("the client", s.Client, longestTitle), fitText("the reference", s.Reference, longestTitle),
		fitOrEmpty("the currency", s.Currency), fitOrEmpty("the net price", s.Net),
	)
}

func fitRefs(meshes []store.MeshRef) error {
	if len(meshes) > mostMeshes {
		return fmt.Errorf("%w: %d meshes, at most %d are kept", store.ErrUnfit, len(meshes), mostMeshes)
	}
	seen := map[string]bool{}
	for _, m := range meshes {
		if seen[m.Name] {
			return fmt.Errorf("%w: mesh %s stands twice", store.ErrUnfit, m.Name)
		}
		seen[m.Name] = true
		if err := errors.Join(fit("the mesh", m.Name), fit("the mesh's sum", m.Sum)); err != nil {
			return err
		}
	}
	return nil
}

func fitPartner(p store.Partner) error {
	return errors.Join(fit("the partner", p.ID), fitTitle("the partner's title", p.Title))
}

func fitKey(k store.Key) error {
	scopes := strings.Join(k.Scopes, " ")
	if !slices.Equal(strings.Fields(scopes), k.Scopes) {
		return fmt.Errorf("%w: a scope is empty or holds a space", store.ErrUnfit)
	}
	return errors.Join(fit("the key's id", k.ID), fitOrEmpty("the owner", k.Owner), fitTitle("the key's title", k.Title), fitOrEmpty("the scopes", scopes))
}

func fitMesh(m store.Mesh) error {
	if m.Room < 0 || m.Room > largestRoom {
		return fmt.Errorf("%w: a mesh does not take %d bytes", store.ErrUnfit, m.Room)
	}
	return errors.Join(fitOrEmpty("the owner", m.Owner), fit("the mesh", m.Name), fit("the mesh's sum", m.Sum), fitOrEmpty("the format", m.Format))
}

func fitDay(d life.Day) error {
	if !d.Valid() {
		return fmt.Errorf("%w: there is no day %q", store.ErrUnfit, d)
	}
	return nil
}

// blob is a copy of bytes, and never nil.
func blob(b []byte) []byte { return append([]byte{}, b...) }

// micros is a time as the databases keep it: microseconds since 1970, and 0 for none.
func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// asKept is a time as it comes back.
func asKept(t time.Time) time.Time {
	us := micros(t)
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

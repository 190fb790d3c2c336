package cabinet

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// label is what is kept beside a name and beside a file: how it was asked to be read.
type label struct {
	Reading json.RawMessage `json:"reading"` // as it was asked, as the contract writes it
	Unit    float64         `json:"unit"`    // m in one file unit, as it was found: the file's own where none was asked for
}

// writeLabel writes a reading that was asked for, and the unit that was found.
func writeLabel(r shelf.Reading, unit float64) ([]byte, error) {
	words, err := wire.EncodeReading(r)
	if err != nil {
		return nil, err
	}
	return json.Marshal(label{Reading: words, Unit: unit})
}

// readLabel reads the reading that was asked for, and the unit that was found.
func readLabel(doc []byte) (asked shelf.Reading, unit float64, err error) {
	var l label
	if err := json.Unmarshal(doc, &l); err != nil {
		return shelf.Reading{}, 0, fmt.Errorf("reading a mesh's label: %w", err)
	}
	if asked, err = wire.DecodeReading(l.Reading); err != nil {
		return shelf.Reading{}, 0, fmt.Errorf("reading how a mesh is read: %w", err)
	}
	return asked, l.Unit, nil
}

// shown is a mesh's reading as its owner sees it: with the unit that was found, and without a
// name where none was given.
func shown(head store.Mesh) (shelf.Reading, error) {
	r, unit, err := readLabel(head.Reading)
	if err != nil {
		return shelf.Reading{}, fmt.Errorf("mesh %s: %w", head.Name, err)
	}
	r.Unit, r.ID = unit, ""
	if head.Name != shelf.NameOf(head.Sum) {
		r.ID = strings.TrimPrefix(head.Name, shelf.Prefix)
	}
	return r, nil
}

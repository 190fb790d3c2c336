package cabinet

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// label is what is kept beside a file: how it was asked to be read, and whose words that has.
// The store keeps a file once, whoever names it, with the label of who came first: a title
// and a file's name are shown under that name only, and never to another owner.
type label struct {
	Owner   string          `json:"owner,omitempty"`
	Name    string          `json:"name"`
	Reading json.RawMessage `json:"reading"` // as it was asked, as the contract writes it
	Unit    float64         `json:"unit"`    // m in one file unit, as it was found: the file's own where none was asked for
}

// write writes the label of a reading.
func (l label) write(r shelf.Reading) ([]byte, error) {
	var err error
	if l.Reading, err = wire.EncodeReading(r); err != nil {
		return nil, err
	}
	return json.Marshal(l)
}

// readLabel reads a label, and the reading that was asked for.
func readLabel(doc []byte) (label, shelf.Reading, error) {
	var l label
	if err := json.Unmarshal(doc, &l); err != nil {
		return label{}, shelf.Reading{}, fmt.Errorf("reading a mesh's label: %w", err)
	}
	r, err := wire.DecodeReading(l.Reading)
	if err != nil {
		return label{}, shelf.Reading{}, fmt.Errorf("reading how a mesh is read: %w", err)
	}
	return l, r, nil
}

// shown is the reading as it is shown under a name.
func (l label) shown(asked shelf.Reading, head store.Mesh) shelf.Reading {
	r := shelf.Reading{Unit: l.Unit, Up: asked.Up}
	if head.Name != shelf.NameOf(head.Sum) {
		r.ID = strings.TrimPrefix(head.Name, shelf.Prefix)
	}
	if l.Owner == head.Owner && l.Name == head.Name {
		r.Title, r.FileName = asked.Title, asked.FileName
	}
	return r
}

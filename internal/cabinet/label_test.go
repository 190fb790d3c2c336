package cabinet

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/shelf"
)

// What is written of a reading is read again.
func TestALabelIsReadAsItWasWritten(t *testing.T) {
	for _, r := range []shelf.Reading{
		{}, {ID: "hare", Title: "A hare, \"running\"\n<b>", FileName: "häre.glb"}, {Unit: 0.001, Up: shelf.X}, {Unit: 0.0254, Up: shelf.Z}, {Unit: 0.3048, Up: shelf.Y},
	} {
		doc, err := label{Owner: "tamsin-row", Name: "meshes/hare", Unit: 1e-6}.write(r)
		if err != nil {
			t.Fatal(err)
		}
		l, got, err := readLabel(doc)
		if err != nil || got != r || l.Owner != "tamsin-row" || l.Name != "meshes/hare" || l.Unit != 1e-6 {
			t.Errorf("%s: got %+v, %+v, %v", doc, l, got, err)
		}
	}
}

func FuzzLabel(f *testing.F) {
	f.Add([]byte(`{"owner":"tamsin-row","name":"meshes/hare","reading":{"title":"Hare","unit":"LENGTH_UNIT_MILLIMETRE"},"unit":0.001}`))
	f.Add([]byte(`{"reading":null}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		l, r, err := readLabel(doc)
		if err != nil {
			return
		}
		again, err := l.write(r)
		if err != nil {
			return // text that is not UTF-8
		}
		m, s, err := readLabel(again)
		if err != nil || s != r || m.Owner != l.Owner || m.Name != l.Name || m.Unit != l.Unit {
			t.Errorf("%q: %+v, %+v, %v", again, m, s, err)
		}
	})
}

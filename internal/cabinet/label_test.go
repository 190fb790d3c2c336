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
		doc, err := writeLabel(r, 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		got, unit, err := readLabel(doc)
		if err != nil || got != r || unit != 1e-6 {
			t.Errorf("%s: got %+v, %v, %v", doc, got, unit, err)
		}
	}
}

func FuzzLabel(f *testing.F) {
	f.Add([]byte(`{"reading":{"title":"Hare","unit":"LENGTH_UNIT_MILLIMETRE"},"unit":0.001}`))
	f.Add([]byte(`{"reading":null}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		r, unit, err := readLabel(doc)
		if err != nil {
			return
		}
		again, err := writeLabel(r, unit)
		if err != nil {
			return // text that is not UTF-8
		}
		s, same, err := readLabel(again)
		if err != nil || s != r || same != unit {
			t.Errorf("%q: %+v, %v, %v", again, s, same, err)
		}
	})
}

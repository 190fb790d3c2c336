package brief

import "github.com/mouldwright/mouldwright/internal/fault"

// Later names what in the brief is not reckoned yet, with its path: forms that the
// contract has and this engine does not.
func (b *Brief) Later() fault.List {
	var later fault.List
	var root fault.Path
	laterPieces(&later, root, b.Pieces)
	for i := range b.Options {
		laterPieces(&later, root.Item("options", i), b.Options[i].Pieces)
	}
	return later
}

func laterPieces(later *fault.List, at fault.Path, pieces []Piece) {
	for i := range pieces {
		p := at.Item("pieces", i)
		if form := pieces[i].Form.Later; form != "" {
			f := p.Field("form")
			later.Add(f.Field(form), "this form is not reckoned yet; use solids, measured or another form")
		}
	}
}

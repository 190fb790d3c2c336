package access

// What the published check values are of, and limits that tests reach.
const (
	NoteQueue = noteQueue
	KeptKeys  = keptKeys
)

var (
	Spell    = spell
	Checksum = checksum
)

// Known is how many keys a gate remembers.
func (g *Gate) Known() int { return g.known.Len() }

// Package method lays the rate book's method over the measures: which operations
// fall on a piece, how often, measured by what, and with which materials. Pieces
// with their measures flow in; tasks flow out, from which labour takes hours and
// cost takes money.
//
// Measures are in the SI units of package takeoff; a task's net amounts are in
// the material's own unit (kg, litres, m2, m, m3, each).
package method

import (
	"slices"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/takeoff"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Task is one operation as it falls on one piece, or on the job.
type Task struct {
	*ratebook.Work
	Piece   *takeoff.Piece // nil for the job
	Zone    *takeoff.Zone  // nil where it is on no zone
	Fixing  string         // name of the fixing, where it builds one in
	Count   int            // occurrences
	Measure float64        // of one occurrence, in the unit of the operation's measure
	Coats   int
	Amounts []Amount // materials of one occurrence, net
}

// Units returns what multiplies the hours of one occurrence: 1 where nothing
// measures it.
func (t *Task) Units() float64 {
	if t.Work.Measure == ratebook.NoMeasure {
		return 1
	}
	return t.Measure
}

// Load is the mass of one cast, and what it is made of, in kg.
type Load struct {
	Skin    float64 // laminate
	Films   float64 // gelcoat, paint, filler, decoration and what else stays on it
	Fixings float64
	Core    float64 // foam that stays inside, on the direct route
}

// Total returns the mass of one cast in kg.
func (l Load) Total() float64 { return l.Skin + l.Films + l.Fixings + l.Core }

// Expansion lays the method over one piece after another, and over the job.
type Expansion struct {
	edition *ratebook.Edition
	piece   *takeoff.Piece
	tasks   []Task
	amounts []Amount // backs the amounts of the tasks
	err     error    // the first refusal of a formula
}

// Begin returns an expansion by a rate book.
func Begin(e *ratebook.Edition) *Expansion { return &Expansion{edition: e} }

// Tasks returns the tasks so far, piece by piece in working order.
func (x *Expansion) Tasks() []Task { return x.tasks }

// Job adds the tasks that fall on the brief as a whole, and those of its
// consignments.
func (x *Expansion) Job(b *brief.Brief) error {
	x.piece = nil
	for _, w := range x.edition.Job {
		x.add(Task{Work: w, Count: 1})
	}
	if b.Delivery != nil {
		for _, w := range x.edition.Consignments {
			x.add(Task{Work: w, Count: b.Delivery.Consignments, Measure: b.Delivery.Distance})
		}
	}
	return x.err
}

// Piece adds the tasks of one piece and returns the mass of one of its casts. An
// error says which figure a formula refused; a checked brief and book give it
// none to refuse.
func (x *Expansion) Piece(p *takeoff.Piece) (Load, error) {
	x.piece = p
	first := len(x.tasks)
	// Room for the tasks and for a handful of materials each, so that neither
	// list has to move.
	room := len(route(p, x.edition)) + len(p.Treatment.Cast) + 8*len(p.Zones) + 4*len(p.Fixings)
	x.tasks, x.amounts = slices.Grow(x.tasks, room), slices.Grow(x.amounts, 4*room)
	for _, w := range route(p, x.edition) {
		x.add(Task{Work: w, Piece: p})
	}
	x.fixings()
	for _, w := range p.Treatment.Cast {
		x.add(Task{Work: w, Piece: p})
	}
	for i := range p.Zones {
		for _, w := range p.Zones[i].Treatment.Zone {
			x.add(Task{Work: w, Piece: p, Zone: &p.Zones[i]})
		}
	}
	own := x.tasks[first:]
	load := x.load(own)
	x.weigh(own, unit.Steady(load.Total()))
	return load, x.err
}

func route(p *takeoff.Piece, e *ratebook.Edition) []*ratebook.Work {
	if p.Direct {
		return e.Direct
	}
	return e.Moulded
}

func (x *Expansion) fixings() {
	for _, f := range x.piece.Fixings {
		built, _ := x.edition.BuiltIn(f.Code)
		for _, w := range built.Work {
			x.add(Task{Work: w, Piece: x.piece, Fixing: built.Name, Measure: float64(f.Count)})
		}
	}
}

// add measures a task and keeps it, unless it is for other bodies or exposures
// or never happens (no mould is made on the direct route).
func (x *Expansion) add(t Task) {
	if t.Piece != nil {
		if !t.Suits(t.Piece.Body, t.Piece.Exposure) {
			return
		}
		t.Count = occurrences(&t)
		t.Measure = measure(&t)
	}
	if t.Count == 0 {
		return
	}
	t.Coats = x.coats(&t)
	x.tasks = append(x.tasks, t)
	x.supply(&x.tasks[len(x.tasks)-1])
}

func occurrences(t *Task) int {
	p := t.Piece
	switch t.Per {
	case ratebook.PerHand:
		return p.Patterns()
	case ratebook.PerMould:
		return p.Moulds()
	case ratebook.PerCast:
		return p.Casts()
	case ratebook.PerZone:
		return t.Zone.Total
	default:
		return 1
	}
}

// measure returns the measure of one occurrence. Mass comes later, when what the
// cast is made of is known.
func measure(t *Task) float64 {
	p := t.Piece
	switch t.Work.Measure {
	case ratebook.Surface:
		return p.Surface
	case ratebook.Rim:
		return p.Rim
	case ratebook.FoamVolume:
		return p.Volume
	case ratebook.Flange:
		return p.Flange
	case ratebook.MouldArea:
		return p.MouldArea()
	case ratebook.Parting:
		return p.Parting
	case ratebook.ZoneArea:
		return t.Zone.Area
	case ratebook.MaskEdge:
		return t.Zone.Edge
	case ratebook.BoxVolume:
		return p.BoxVolume()
	default:
		return t.Measure // fixings, distance
	}
}

func (x *Expansion) coats(t *Task) int {
	if t.CoatPerLayer && t.Piece != nil {
		return x.schedule(t).LayerCount
	}
	return t.Operation.Coats
}

// schedule returns the laminate that a task lays up: the studio's own for
// moulds, the piece's for casts.
func (x *Expansion) schedule(t *Task) *ratebook.Schedule {
	if t.Per == ratebook.PerMould {
		return x.edition.MouldSchedule
	}
	return t.Piece.Laminate
}

// load weighs one cast: its skin, what stays on it, its fixings, its core.
func (x *Expansion) load(tasks []Task) Load {
	p := x.piece
	l := Load{}
	for _, f := range p.Fixings {
		built, _ := x.edition.BuiltIn(f.Code)
		l.Fixings += float64(built.Mass * float64(f.Count))
	}
	for i := range tasks {
		t := &tasks[i]
		for j := range t.Amounts {
			kg := float64(staying(t, &t.Amounts[j]) * perCast(t))
			if t.Amounts[j].Basis == ratebook.LaminateSchedule {
				l.Skin += kg
			} else {
				l.Films += kg
			}
		}
		l.Core += core(t)
	}
	return l
}

func perCast(t *Task) float64 {
	if t.Zone != nil {
		return float64(t.Zone.Count)
	}
	return 1
}

// staying returns the mass in kg that an amount leaves on one cast. Of paint the
// solids stay: what is neither lost in the spray nor solvent.
func staying(t *Task, a *Amount) float64 {
	if !a.Stays || a.Basis == ratebook.FoamBlank {
		return 0
	}
	switch {
	case a.Basis == ratebook.DryFilm:
		film := t.paintOf(a)
		return a.Net * film.TransferEfficiency * film.VolumeSolids / 100 * a.Material.Density / 1000
	case a.Material.Unit == unit.Kilogram:
		return a.Net
	case a.Material.Unit == unit.Litre:
		return a.Net * a.Material.Density / 1000
	case a.Material.Unit == unit.CubicMetre:
		return a.Net * a.Material.Density
	default:
		return 0
	}
}

// paintOf returns the film data of an amount: of the mix that it is a share of,
// or its own.
func (t *Task) paintOf(a *Amount) *ratebook.Paint {
	if a.Of != nil {
		return a.Of.Paint
	}
	return a.Material.Paint
}

// core is the foam that stays inside a cast: its carved volume, where the
// operation that cuts the blanks is done for each cast.
func core(t *Task) float64 {
	for i := range t.Amounts {
		a := &t.Amounts[i]
		if a.Basis == ratebook.FoamBlank && a.Stays {
			return t.Piece.Volume * a.Material.Density
		}
	}
	return 0
}

// weigh gives the tasks that are measured by mass their measure, now that it is
// known, and reckons what they use.
func (x *Expansion) weigh(tasks []Task, mass float64) {
	for i := range tasks {
		t := &tasks[i]
		if t.Work.Measure == ratebook.Mass {
			t.Measure = mass
			x.supply(t)
		}
	}
}

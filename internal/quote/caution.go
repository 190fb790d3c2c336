package quote

import (
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// Caution is a caution and what on this quote calls for it.
type Caution struct {
	*ratebook.Caution
	Because string
}

// cautions returns the cautions that the quote calls for, in the rate book's
// order. The engine chooses them; no caller can leave one out.
func cautions(q *Quote) []Caution {
	s := sightOf(q)
	var out []Caution
	for i := range q.Edition.Cautions {
		c := &q.Edition.Cautions[i]
		if because := s.calls(&c.Trigger); because != "" {
			out = append(out, Caution{Caution: c, Because: because})
		}
	}
	return out
}

// sight is what a trigger looks at.
type sight struct {
	kinds      [ratebook.Waste + 1]*ratebook.Material // the first of each kind in the rate book
	edition    *ratebook.Edition
	materials  []bool            // whether each of the rate book's is used, by its place
	operations map[string]string // name by code
	heaviest   *Piece
	highest    *Piece
	exposures  [ratebook.Outdoor + 1]*Piece
}

func sightOf(q *Quote) *sight {
	s := &sight{edition: q.Edition, materials: make([]bool, len(q.Edition.Materials)), operations: make(map[string]string, len(q.Edition.Operations))}
	for i := range q.Workings.Labour {
		l := &q.Workings.Labour[i]
		s.operations[l.Code] = l.Name
		s.amounts(l.Amounts)
	}
	for i := range q.Pieces {
		s.piece(&q.Pieces[i])
	}
	return s
}

// amounts looks at what the work uses, and not at what is bought: a trace that
// rounds to nothing on the shopping list is handled all the same, and a mix is
// bought as its components.
func (s *sight) amounts(amounts []method.Amount) {
	for i := range amounts {
		s.material(amounts[i].Material)
		if mix := amounts[i].Of; mix != nil {
			s.material(mix)
		}
	}
}

func (s *sight) material(m *ratebook.Material) {
	if s.materials[m.Place] {
		return
	}
	s.materials[m.Place] = true
	if first := s.kinds[m.Kind]; first == nil || m.Place < first.Place {
		s.kinds[m.Kind] = m
	}
}

func (s *sight) piece(p *Piece) {
	if s.heaviest == nil || p.Load.Total() > s.heaviest.Load.Total() {
		s.heaviest = p
	}
	if s.highest == nil || p.StandsAt() > s.highest.StandsAt() {
		s.highest = p
	}
	if s.exposures[p.Exposure] == nil {
		s.exposures[p.Exposure] = p
	}
}

// calls says why the trigger fires; empty where it does not.
func (s *sight) calls(t *ratebook.Trigger) string {
	switch {
	case t.Always:
		return "every quote"
	case t.OverMass != nil && s.heaviest.Load.Total() > *t.OverMass:
		return fmt.Sprintf("%s weighs %.1f kg", s.heaviest.Name, s.heaviest.Load.Total())
	case t.OverHeight != nil && s.highest.StandsAt() > *t.OverHeight:
		return fmt.Sprintf("%s stands %.2f m high", s.highest.Name, s.highest.StandsAt())
	}
	return s.callsByName(t)
}

func (s *sight) callsByName(t *ratebook.Trigger) string {
	for _, k := range t.Kinds {
		if m := s.kinds[k]; m != nil {
			return m.Name
		}
	}
	for _, code := range t.Materials {
		if m, ok := s.edition.Material(code); ok && s.materials[m.Place] {
			return m.Name
		}
	}
	for _, code := range t.Operations {
		if name, ok := s.operations[code]; ok {
			return name
		}
	}
	i := slices.IndexFunc(t.Exposures, func(e ratebook.Exposure) bool { return s.exposures[e] != nil })
	if i < 0 {
		return ""
	}
	p := s.exposures[t.Exposures[i]]
	return fmt.Sprintf("%s stands %s", p.Name, p.Exposure)
}

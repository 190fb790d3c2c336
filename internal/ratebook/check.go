package ratebook

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// check finds every fault of a book in one pass. Its structure follows the
// document, so that faults come in the document's order.
type check struct {
	*Book
	faults    fault.List
	materials map[string]*Material
	skills    map[string]*Skill
	equipment map[string]*Equipment
	laminates map[string]*Laminate
	ops       map[string]*Operation
	finishes  map[string]*Finish
	reached   map[string]bool   // operations that some list names
	circling  map[string]bool   // operations that wait for themselves
	cures     map[string]string // for each catalyst, a material that it cures
	sound     bool              // the materials have no fault, so that formulas can be tried with them
	layers    int               // the most that any laminate has
}

func (b *Book) check() fault.List {
	c := &check{
		Book:      b,
		materials: byCode(b.Materials, func(m *Material) string { return m.Code }),
		skills:    byCode(b.Skills, func(s *Skill) string { return s.Code }),
		equipment: byCode(b.Equipment, func(e *Equipment) string { return e.Code }),
		laminates: byCode(b.Laminates, func(l *Laminate) string { return l.Code }),
		ops:       byCode(b.Operations, func(o *Operation) string { return o.Code }),
		finishes:  byCode(b.Finishes, func(f *Finish) string { return f.Code }),
		reached:   map[string]bool{},
		circling:  map[string]bool{},
		cures:     map[string]string{},
	}
	c.checkRevision()
	c.reach()
	c.findCircles()
	c.findCatalysts()
	c.checkRates()
	c.checkMaterials()
	c.checkLaminates()
	c.checkOperations()
	c.checkMethod()
	c.checkFinishes()
	c.checkFixings()
	c.checkCautions()
	c.checkPolicies()
	return c.faults
}

// CurrentName is the name that stands for whichever revision is in force, and so is none's own.
const CurrentName = "current"

func (c *check) checkRevision() {
	var root fault.Path
	if c.Revision == CurrentName {
		c.faults.Add(root.Field("revision"), "got %q, which stands for the revision in force; allowed: a name of its own", c.Revision)
	}
}

// named puts what a fault is a fault of before the messages from a place of the
// list on: a number in a path says little in a list of a hundred.
func (c *check) named(what, code string, from int) {
	if code == "" {
		return
	}
	for i := range c.faults[from:] {
		f := &c.faults[from+i]
		f.Message = fmt.Sprintf("%s %q: %s", what, code, f.Message)
	}
}

// refused adds what a formula refused, if anything, in the words of the other
// faults.
func (c *check) refused(p fault.Path, err error) {
	var first fault.Refusal
	switch {
	case err == nil:
	case errors.As(err, &first):
		c.faults.Add(p, "%s: got %.10g, allowed: %s", first.Quantity, first.Got, first.Allowed)
	default:
		c.faults.Add(p, "%v", err)
	}
}

// codes finds codes of one list that are missing or stand there already.
type codes map[string]bool

func (seen codes) check(c *check, item fault.Path, own string) {
	switch {
	case own == "":
		c.faults.Add(item.Field("code"), "missing, allowed: a code")
	case seen[own]:
		c.faults.Add(item.Field("code"), "got %q, which stands in this list already, allowed: another code", own)
	}
	seen[own] = true
}

func (c *check) checkRates() {
	var root fault.Path
	skills, equipment := codes{}, codes{}
	for i := range c.Skills {
		p := root.Item("skills", i)
		skills.check(c, p, c.Skills[i].Code)
		c.price(p.Field("hourlyRate"), c.Skills[i].HourlyRate)
	}
	for i := range c.Equipment {
		p := root.Item("equipment", i)
		equipment.check(c, p, c.Equipment[i].Code)
		c.price(p.Field("hourlyRate"), c.Equipment[i].HourlyRate)
	}
}

func (c *check) price(p fault.Path, d unit.Decimal) {
	if d.IsNeg() {
		c.faults.Add(p, "got %s, allowed: 0 or more", d)
	}
}

func (c *check) within(p fault.Path, v, low, high float64, what string) {
	// Written so that NaN is refused too.
	if !(v >= low && v <= high) {
		// Ten digits, since a share turned into percent may end in binary noise.
		c.faults.Add(p, "got %.10g, allowed: %s", v, strings.TrimRight(fmt.Sprintf("%g to %g %s", low, high, what), " "))
	}
}

func (c *check) above(p fault.Path, v, high float64, what string) {
	if !(v > 0 && v <= high) {
		c.faults.Add(p, "got %.10g, allowed: above 0, at most %g %s", v, high, what)
	}
}

func (c *check) needMaterial(p fault.Path, code string) *Material {
	m, ok := c.materials[code]
	if !ok {
		c.unknown(p, "material", code, sortedCodes(c.materials))
	}
	return m
}

func (c *check) needKind(p fault.Path, code string, kind MaterialKind) {
	if m := c.needMaterial(p, code); m != nil && m.Kind != kind {
		c.faults.Add(p, "got %q, which is a %s; allowed: a %s", code, m.Kind, kind)
	}
}

func (c *check) unknown(p fault.Path, what, code string, allowed []string) {
	c.faults.Add(p, "got %q, which is no %s of this book; %s", code, what, fault.Allowed(code, allowed))
}

func sortedCodes[T any](m map[string]*T) []string {
	codes := make([]string, 0, len(m))
	for code := range m {
		if code != "" {
			codes = append(codes, code)
		}
	}
	sort.Strings(codes)
	return codes
}

// list checks the codes of one list of operations.
func (c *check) list(p fault.Path, name string, codes []string, pers ...Per) {
	for i, code := range codes {
		at := p.Item(name, i)
		o, ok := c.ops[code]
		if !ok {
			c.unknown(at, "operation", code, sortedCodes(c.ops))
			continue
		}
		if !slices.Contains(pers, o.Per) {
			c.faults.Add(at, "got %q, which is per %s, allowed in this list: per %s", code, o.Per, joined(pers))
		}
		if slices.Index(codes, code) < i {
			c.faults.Add(at, "got %q, which stands in this list already, allowed: once", code)
		}
		c.inTurn(at, o, i, codes)
	}
}

// inTurn: an operation cannot stand before one that it waits for. Those that wait
// for themselves can stand nowhere and are named elsewhere.
func (c *check) inTurn(p fault.Path, o *Operation, place int, codes []string) {
	for _, before := range o.After {
		if slices.Index(codes, before) > place && !c.circling[o.Code] {
			c.faults.Add(p, "got %q before %q, which it waits for, allowed: after it", o.Code, before)
		}
	}
}

func joined[T fmt.Stringer](list []T) string {
	words := make([]string, len(list))
	for i, v := range list {
		words[i] = v.String()
	}
	return strings.Join(words, ", ")
}

func (c *check) checkMethod() {
	var root fault.Path
	p := root.Field("method")
	c.list(p, "job", c.Method.Job, PerJob)
	c.list(p, "moulded", c.Method.Moulded, PerPiece, PerHand, PerMould, PerCast)
	c.list(p, "direct", c.Method.Direct, PerPiece, PerCast)
	c.list(p, "consignment", c.Method.Consignment, PerConsignment)
}

func (c *check) checkFinishes() {
	var root fault.Path
	seen := codes{}
	for i := range c.Finishes {
		f, p, from := &c.Finishes[i], root.Item("finishes", i), len(c.faults)
		seen.check(c, p, f.Code)
		c.list(p, "castOperations", f.CastOperations, PerPiece, PerCast)
		c.list(p, "zoneOperations", f.ZoneOperations, PerZone)
		c.zoneStages(p, f.ZoneOperations)
		if !f.onCasts() && len(f.ZoneOperations) == 0 {
			c.faults.Add(p, "got no operations and no forCasts, allowed: one of the two, since no cast and no zone can have it")
		}
		c.named("finish", f.Code, from)
	}
}

// zoneStages: a zone is one line of a quote and stands there under finish.
func (c *check) zoneStages(p fault.Path, codes []string) {
	for i, code := range codes {
		if o := c.ops[code]; o != nil && o.Per == PerZone && o.Stage != FinishStage {
			c.faults.Add(p.Item("zoneOperations", i), "got %q, which is of stage %s, allowed: stage %s", code, o.Stage, FinishStage)
		}
	}
}

func (c *check) checkFixings() {
	var root fault.Path
	seen := codes{}
	for i := range c.Fixings {
		p := root.Item("fixings", i)
		seen.check(c, p, c.Fixings[i].Code)
		c.within(p.Field("massKg"), c.Fixings[i].Mass, 0, 1000, "kg")
		c.list(p, "operations", c.Fixings[i].Operations, PerCast)
	}
}

// findCatalysts finds what each catalyst cures.
func (c *check) findCatalysts() {
	for i := range c.Materials {
		m := &c.Materials[i]
		if m.Catalyst != nil && c.cures[m.Catalyst.Material] == "" {
			c.cures[m.Catalyst.Material] = m.Code
		}
	}
}

// reach marks every operation that a list names.
func (c *check) reach() {
	lists := [][]string{c.Method.Job, c.Method.Moulded, c.Method.Direct, c.Method.Consignment}
	for i := range c.Finishes {
		lists = append(lists, c.Finishes[i].CastOperations, c.Finishes[i].ZoneOperations)
	}
	for i := range c.Fixings {
		lists = append(lists, c.Fixings[i].Operations)
	}
	for _, list := range lists {
		for _, code := range list {
			c.reached[code] = true
		}
	}
}

// findCircles finds operations that wait for themselves. Each round sets aside
// those that wait for nothing left; what remains goes in a circle, or waits for
// one that does and is not to blame.
func (c *check) findCircles() {
	left := map[string]bool{}
	for code := range c.ops {
		left[code] = true
	}
	for moved := true; moved; {
		moved = false
		for i := range c.Operations {
			o := &c.Operations[i]
			if left[o.Code] && !slices.ContainsFunc(o.After, func(a string) bool { return left[a] }) {
				delete(left, o.Code)
				moved = true
			}
		}
	}
	for code := range left {
		c.circling[code] = c.waitsFor(code, code, left, map[string]bool{})
	}
}

// waitsFor reports whether an operation waits for another, looking at those left.
func (c *check) waitsFor(code, other string, left, seen map[string]bool) bool {
	for _, before := range c.ops[code].After {
		if before == other {
			return true
		}
		if left[before] && !seen[before] {
			seen[before] = true
			if c.waitsFor(before, other, left, seen) {
				return true
			}
		}
	}
	return false
}

func (c *check) checkCautions() {
	var root fault.Path
	if !slices.ContainsFunc(c.Cautions, func(k Caution) bool { return k.Trigger.Always }) {
		c.faults.Add(root.Field("cautions"), "got %d, of which none is for every quote, allowed: at least one with trigger.always", len(c.Cautions))
	}
	seen := codes{}
	for i := range c.Cautions {
		t, item := &c.Cautions[i].Trigger, root.Item("cautions", i)
		seen.check(c, item, c.Cautions[i].Code)
		p := item.Field("trigger")
		for j, code := range t.Materials {
			c.needMaterial(p.Item("materials", j), code)
		}
		for j, code := range t.Operations {
			if c.ops[code] == nil {
				c.unknown(p.Item("operations", j), "operation", code, sortedCodes(c.ops))
			}
		}
		if !t.canFire() {
			c.faults.Add(p, "missing, allowed: always, or at least one thing that calls for it")
		}
	}
}

// onCasts reports whether the finish may cover whole casts.
func (f *Finish) onCasts() bool { return f.ForCasts || len(f.CastOperations) > 0 }

func (t *Trigger) canFire() bool {
	return t.Always || len(t.Kinds)+len(t.Materials)+len(t.Operations)+len(t.Exposures) > 0 || t.OverMass != nil || t.OverHeight != nil
}

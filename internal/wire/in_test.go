package wire_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// filling sets every field of a message, each to a value of its own, so that a
// field that is dropped or swapped on the way in shows.
type filling struct {
	count int // of values so far
	pick  int // which field of a choice, counted round
}

// form is the message of which one field may be set; its choice is a rule of
// the contract, not a oneof.
const form = "mouldwright.v1.Form"

func (f *filling) message(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		if field := fields.Get(i); f.takes(field) {
			f.field(m, field)
		}
	}
}

// takes says whether a field is filled: of a choice, just one is.
func (f *filling) takes(field protoreflect.FieldDescriptor) bool {
	choice := field.ContainingOneof()
	switch {
	case field.ContainingMessage().FullName() == form:
		return field.Index() == f.pick%field.ContainingMessage().Fields().Len()
	case choice != nil && !choice.IsSynthetic():
		return choice.Fields().Get(f.pick%choice.Fields().Len()) == field
	default:
		return true
	}
}

func (f *filling) field(m protoreflect.Message, field protoreflect.FieldDescriptor) {
	switch {
	case field.IsList():
		list := m.Mutable(field).List()
		for range 2 {
			list.Append(f.value(field, list.NewElement()))
		}
	default:
		m.Set(field, f.value(field, m.NewField(field)))
	}
}

func (f *filling) value(field protoreflect.FieldDescriptor, empty protoreflect.Value) protoreflect.Value {
	f.count++
	switch field.Kind() {
	case protoreflect.MessageKind:
		f.message(empty.Message())
		return empty
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(f.text(field))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(float64(f.count) + 0.125) // three decimals go into every unit but a count
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(f.count))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	default:
		return protoreflect.ValueOfEnum(1)
	}
}

func (f *filling) text(field protoreflect.FieldDescriptor) string {
	switch {
	case date(field):
		return fmt.Sprintf("%04d-03-01", 2000+f.count)
	case decimal(field):
		return fmt.Sprintf("%d.25", f.count%80)
	case field.Name() == "path_data":
		return fmt.Sprintf("M0 0h%dv9H0z M1 1h3v3h-3z", 10+f.count) // filled one way or the other by the rule
	case field.FullName() == "mouldwright.v1.Material.unit":
		return "kg"
	case field.FullName() == "mouldwright.v1.RateBook.currency_code":
		return "GBP"
	default:
		return fmt.Sprintf("text-%d", f.count)
	}
}

func date(field protoreflect.FieldDescriptor) bool {
	return field.Name() == "prepared_on" || field.Name() == "deadline"
}

func decimal(field protoreflect.FieldDescriptor) bool {
	name := string(field.Name())
	for _, end := range []string{"percent", "rate", "price", "charge_each", "charge_per_unit", "overhead_per_labour_hour", "minimum_charge"} {
		if field.Kind() == protoreflect.StringKind && strings.HasSuffix(name, end) {
			return true
		}
	}
	return false
}

// other is another value for a field that it makes a difference to.
func other(field protoreflect.FieldDescriptor, v protoreflect.Value) protoreflect.Value {
	switch field.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(otherText(field, v.String()))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(v.Float() + 0.5)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(v.Int()) + 1)
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(!v.Bool())
	default:
		return protoreflect.ValueOfEnum(v.Enum() + 1)
	}
}

func otherText(field protoreflect.FieldDescriptor, text string) string {
	switch {
	case date(field):
		return strings.Replace(text, "-03-", "-04-", 1)
	case decimal(field):
		return strings.Replace(text, ".25", ".5", 1)
	case text == "kg":
		return "L"
	case text == "GBP":
		return "EUR"
	default:
		return text + "-other"
	}
}

// leaf is one scalar of a message: where it is, what it holds, how to set it.
type leaf struct {
	path  string
	field protoreflect.FieldDescriptor
	value protoreflect.Value
	set   func(protoreflect.Value)
}

func leaves(m protoreflect.Message, at string, visit func(leaf)) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		path := strings.TrimPrefix(at+"."+f.JSONName(), ".")
		if !m.Has(f) {
			continue
		}
		if !f.IsList() {
			visitOne(leaf{path, f, m.Get(f), func(v protoreflect.Value) { m.Set(f, v) }}, visit)
			continue
		}
		for j := range m.Get(f).List().Len() {
			list := m.Mutable(f).List()
			visitOne(leaf{fmt.Sprintf("%s[%d]", path, j), f, list.Get(j), func(v protoreflect.Value) { list.Set(j, v) }}, visit)
		}
	}
}

func visitOne(l leaf, visit func(leaf)) {
	if l.field.Message() != nil {
		leaves(l.value.Message(), l.path, visit)
		return
	}
	visit(l)
}

// inward is a translation to the domain, with what it leaves out on purpose.
type inward struct {
	empty     func() proto.Message
	translate func(proto.Message) (any, fault.List)
	picks     int // as many as the largest choice has fields
	leftOut   func(path string) (reason string)
}

func inwards() map[string]inward {
	return map[string]inward{
		"brief": {
			empty:     func() proto.Message { return &mouldwrightv1.Brief{} },
			translate: func(m proto.Message) (any, fault.List) { return wire.Brief(m.(*mouldwrightv1.Brief)) },
			picks:     84, // all choices of 12, 7 and so on in turn
			leftOut: func(path string) string {
				if strings.Contains(path, ".likeness.") {
					return "not reckoned yet: its name alone is kept, to say so"
				}
				return ""
			},
		},
		"rate book": {
			empty:     func() proto.Message { return &mouldwrightv1.RateBook{} },
			translate: func(m proto.Message) (any, fault.List) { return wire.RateBook(m.(*mouldwrightv1.RateBook)) },
			picks:     1,
			leftOut:   func(string) string { return "" },
		},
	}
}

func TestNoFieldIsIgnoredOnTheWayIn(t *testing.T) {
	for name, in := range inwards() {
		t.Run(name, func(t *testing.T) {
			seen := map[protoreflect.FullName]bool{}
			for pick := range in.picks {
				m := in.empty()
				(&filling{pick: pick}).message(m.ProtoReflect())
				// Of copies, since lists of codes are handed on, not copied.
				before, faults := in.translate(proto.Clone(m))
				if len(faults) > 0 {
					t.Fatal(faults)
				}
				leaves(m.ProtoReflect(), "", func(l leaf) {
					if seen[l.field.FullName()] && pick > 0 {
						return // looked at with another pick already
					}
					defer func() { seen[l.field.FullName()] = true }()
					l.set(other(l.field, l.value))
					after, faults := in.translate(proto.Clone(m))
					l.set(l.value)
					if ignored := reflect.DeepEqual(before, after); len(faults) == 0 && ignored != (in.leftOut(l.path) != "") {
						t.Errorf("%s: ignored is %v", l.path, ignored)
					}
				})
			}
			allSeen(t, in.empty().ProtoReflect().Descriptor(), seen, map[protoreflect.FullName]bool{})
		})
	}
}

// allSeen makes sure that the walk above came by every scalar that there is.
func allSeen(t *testing.T, d protoreflect.MessageDescriptor, seen, done map[protoreflect.FullName]bool) {
	t.Helper()
	if done[d.FullName()] {
		return
	}
	done[d.FullName()] = true
	for i := range d.Fields().Len() {
		if f := d.Fields().Get(i); f.Message() != nil {
			allSeen(t, f.Message(), seen, done)
		} else if !seen[f.FullName()] {
			t.Errorf("%s was never looked at", f.FullName())
		}
	}
}

// inSI says what a measured field is inside, by the unit in its name (AIP-141).
func inSI(f protoreflect.FieldDescriptor, v float64) float64 {
	name := string(f.Name())
	switch {
	case f.FullName() == "mouldwright.v1.CatalystBand.percent" || name == "volume_solids_percent":
		return v // as the trade's sheets write both
	case strings.HasSuffix(name, "_mm"):
		return v / 1000
	case strings.HasSuffix(name, "_g_m2"):
		return v / 1000
	case strings.HasSuffix(name, "percent"):
		return v / 100
	case strings.HasSuffix(name, "_deg"):
		return v * (math.Pi / 180)
	default:
		return v
	}
}

// Every measured field arrives, to the last bit, in the unit that the domain
// reckons with. All values differ, so one that is found is the field's own.
func TestFieldsArriveInSI(t *testing.T) {
	for name, in := range inwards() {
		t.Run(name, func(t *testing.T) {
			for pick := range in.picks {
				m := in.empty()
				(&filling{pick: pick}).message(m.ProtoReflect())
				got, _ := in.translate(m)
				have := map[float64]bool{}
				floats(reflect.ValueOf(got), have)
				leaves(m.ProtoReflect(), "", func(l leaf) {
					if l.field.Kind() != protoreflect.DoubleKind || in.leftOut(l.path) != "" || l.field.FullName() == "mouldwright.v1.Pack.size" {
						return // a pack's size is a quantity: see TestPacksKeepTheirSize
					}
					if l.field.Name() == "mm_per_unit" {
						return // it goes into every point of the drawing: see TestDrawingsArriveInMetres
					}
					if want := inSI(l.field, l.value.Float()); !have[want] {
						t.Errorf("%s of %v: no %v inside", l.path, l.value, want)
					}
				})
			}
		})
	}
}

// floats gathers every float64 below v.
func floats(v reflect.Value, into map[float64]bool) {
	switch v.Kind() {
	case reflect.Float64:
		into[v.Float()] = true
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			floats(v.Elem(), into)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			floats(v.Index(i), into)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			floats(v.Field(i), into)
		}
	}
}

// A square of ten units a side with a hole of four: by the default rule the hole is
// filled where both run the same way round. At 20 mm a unit the side is 0.2 m.
func TestDrawingsArriveInMetres(t *testing.T) {
	const path = "M0 0h10v10h-10z M3 3h4v4h-4z"
	edge := 5.0
	for rule, want := range map[mouldwrightv1.FillRule][2]float64{ // m2, m
		mouldwrightv1.FillRule_FILL_RULE_UNSPECIFIED: {0.04, 0.8}, mouldwrightv1.FillRule_FILL_RULE_NONZERO: {0.04, 0.8},
		mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD: {0.04 - 0.0064, 0.8 + 0.32},
	} {
		b, faults := wire.Brief(&mouldwrightv1.Brief{Pieces: []*mouldwrightv1.Piece{{
			Form:  &mouldwrightv1.Form{Outline: &mouldwrightv1.Outline{PathData: path, MmPerUnit: 20, DepthMm: 50, EdgeRadiusMm: &edge, FillRule: rule}},
			Zones: []*mouldwrightv1.Zone{{Shape: &mouldwrightv1.Zone_Lettering{Lettering: &mouldwrightv1.Lettering{PathData: path, MmPerUnit: 20, FillRule: rule}}}},
		}}})
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		letters, face := b.Pieces[0].Zones[0].Shape.Lettering, b.Pieces[0].Form.Solids[0].Shape.(geometry.ExtrudedOutline)
		if math.Abs(letters.Area-want[0]) > 1e-12 || math.Abs(letters.Edge-want[1]) > 1e-9 || letters.Area != face.Region.Area || letters.Edge != face.Region.Perimeter {
			t.Errorf("%s: lettering %+v, outline %+v, want %v", rule, letters, face.Region, want)
		}
		if face.Depth != 0.05 || face.EdgeRadius != 0.005 || face.Ends != geometry.EndsTop {
			t.Errorf("%s: got %+v", rule, face)
		}
		if loss := 8 * (1 - want[1] + 0.8); rule != mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD && math.Abs(face.InsetLoss-loss) > 1e-9 {
			t.Errorf("%s: inset loss %g", rule, face.InsetLoss)
		}
	}
}

// A drawing that cannot be used says why and where; what the contract's own rules
// name is not said twice.
func TestUnusableDrawings(t *testing.T) {
	for path, want := range map[string]string{
		"": "", "M0 0h10v10h-10z": "",
		"M0 0h10v10h-10":                  "path data at byte 0: subpath 1 is not closed: end it with Z",
		"M0 0h10v10h-10z M0 0h10v10h-10z": "the path fills nothing by this rule, allowed: subpaths that do not cancel each other",
	} {
		b, _ := wire.Brief(&mouldwrightv1.Brief{Pieces: []*mouldwrightv1.Piece{{
			Form:  &mouldwrightv1.Form{Outline: &mouldwrightv1.Outline{PathData: path, MmPerUnit: 1, DepthMm: 50, ClosedBack: true, FillRule: mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD}},
			Zones: []*mouldwrightv1.Zone{{Shape: &mouldwrightv1.Zone_Lettering{Lettering: &mouldwrightv1.Lettering{PathData: path, MmPerUnit: 1, FillRule: mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD}}}},
		}}})
		s, z := b.Pieces[0].Form.Solids[0], b.Pieces[0].Zones[0].Shape.Lettering
		if s.Unread != want || z.Unread != want || (s.Shape != nil) != (path != "" && want == "") {
			t.Errorf("%q: outline %q, lettering %q, shape %v", path, s.Unread, z.Unread, s.Shape)
		}
	}
}

func TestPacksKeepTheirSize(t *testing.T) {
	book, faults := wire.RateBook(&mouldwrightv1.RateBook{CurrencyCode: "GBP", Materials: []*mouldwrightv1.Material{{Unit: "kg", Packs: []*mouldwrightv1.Pack{{Size: 0.125, Price: "9.50"}}}}})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	pack := book.Materials[0].Packs[0]
	if pack.Size.String() != "0.125 kg" || pack.Price.String() != "9.5" {
		t.Errorf("got %v", pack)
	}
}

// Absent differs from zero where the contract says optional.
func TestWhatIsLeftOutIsTakenAs(t *testing.T) {
	got, faults := wire.Brief(&mouldwrightv1.Brief{
		Pieces: []*mouldwrightv1.Piece{{
			Form:  &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{}, {Count: proto.Int32(0)}}},
			Zones: []*mouldwrightv1.Zone{{}, {CountPerCast: proto.Int32(0), Shape: &mouldwrightv1.Zone_Band{Band: &mouldwrightv1.Band{Solid: proto.Int32(0)}}}},
		}, {TextureFactor: proto.Float64(0), Mould: &mouldwrightv1.MouldChoice{PartingLengthMm: proto.Float64(0)}}},
		Delivery: &mouldwrightv1.Delivery{}, PartnerTerms: &mouldwrightv1.PartnerTerms{},
		Options: []*mouldwrightv1.Option{{}, {Rush: proto.String(""), Delivery: &mouldwrightv1.Delivery{Consignments: proto.Int32(0)}}},
	})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	first, second := got.Pieces[0], got.Pieces[1]
	for _, r := range []struct {
		what      string
		got, want any
	}{
		{"count of a solid", first.Form.Solids[0].Count, 1},
		{"a count of none", first.Form.Solids[1].Count, 0},
		{"count of a zone", first.Zones[0].Count, 1},
		{"a count of no zones", first.Zones[1].Count, 0},
		{"the first solid", *first.Zones[1].Shape.Band.Solid, 0},
		{"texture", first.Texture, 1.0},
		{"a texture of nothing", second.Texture, 0.0},
		{"parting line", first.Mould.Parting == nil, true},
		{"a parting line of nothing", *second.Mould.Parting, 0.0},
		{"consignments", got.Delivery.Consignments, 1},
		{"no consignment", got.Options[1].Delivery.Consignments, 0},
		{"rush of an option", got.Options[0].Rush == nil, true},
		{"no rush in an option", *got.Options[1].Rush, ""},
		{"delivery of an option", got.Options[0].Delivery == nil, true},
		{"partner's discount", got.Partner.Discount == nil && got.Partner.Margin == nil, true},
		{"size", first.Size == nil, true},
		{"days", got.PreparedOn.IsZero() && got.Deadline.IsZero(), true},
	} {
		if r.got != r.want {
			t.Errorf("%s: got %v, want %v", r.what, r.got, r.want)
		}
	}
	if empty, faults := wire.Brief(&mouldwrightv1.Brief{}); len(faults) > 0 || empty.Delivery != nil || empty.Partner != nil || len(empty.Pieces) != 0 {
		t.Errorf("an empty brief: %v, %v", empty, faults)
	}
}

func TestOperationsLeaveOut(t *testing.T) {
	book, _ := wire.RateBook(&mouldwrightv1.RateBook{CurrencyCode: "GBP", Operations: []*mouldwrightv1.Operation{{}, {Coats: proto.Int32(0), LearningRate: proto.Float64(0)}}})
	if o := book.Operations[0]; o.Coats != 1 || o.LearningRate != 1 {
		t.Errorf("left out: got %d coats and a learning rate of %g", o.Coats, o.LearningRate)
	}
	if o := book.Operations[1]; o.Coats != 0 || o.LearningRate != 0 {
		t.Errorf("zero: got %d coats and a learning rate of %g", o.Coats, o.LearningRate)
	}
}

// A mix is in litres without a word; a wet film is in millimetres and goes in as
// metres, while every other amount stays as it is.
func TestWhatTheRateBookTranslatesByContext(t *testing.T) {
	book, faults := wire.RateBook(&mouldwrightv1.RateBook{
		CurrencyCode: "GBP",
		Materials:    []*mouldwrightv1.Material{{Mix: []*mouldwrightv1.MixPart{{Material: "a", Parts: 4}}}},
		Operations: []*mouldwrightv1.Operation{{Materials: []*mouldwrightv1.MaterialUse{
			{Basis: mouldwrightv1.UseBasis_USE_BASIS_WET_FILM, Amount: 0.8}, {Basis: mouldwrightv1.UseBasis_USE_BASIS_MEASURE, Amount: 0.8},
		}}},
	})
	if len(faults) > 0 || book.Materials[0].Unit.Code() != "L" {
		t.Errorf("got %v, %v", book.Materials[0].Unit, faults)
	}
	if uses := book.Operations[0].Materials; uses[0].Amount != 0.8/1000 || uses[1].Amount != 0.8 {
		t.Errorf("got %v", uses)
	}
}

func TestDaysAreDaysOfTheCalendar(t *testing.T) {
	for text, want := range map[string]string{
		"2028-02-29": "", "2027-12-31": "", "0001-01-01": "",
		"2027-02-29": `got "2027-02-29", allowed: a day as ISO 8601 writes it, such as 2027-03-01`,
		"2027-13-01": `got "2027-13-01", allowed: a day as ISO 8601 writes it, such as 2027-03-01`,
		"0000-01-01": `got "0000-01-01", allowed: a day as ISO 8601 writes it, such as 2027-03-01`,
		"01/03/2027": `got "01/03/2027", allowed: a day as ISO 8601 writes it, such as 2027-03-01`,
		"2027-3-1":   `got "2027-3-1", allowed: a day as ISO 8601 writes it, such as 2027-03-01`,
	} {
		got, faults := wire.Brief(&mouldwrightv1.Brief{PreparedOn: text, Deadline: text})
		switch {
		case want == "" && (len(faults) > 0 || got.PreparedOn.Format(time.DateOnly) != text || !got.Deadline.Equal(got.PreparedOn)):
			t.Errorf("%s: got %v, %v", text, got.PreparedOn, faults)
		case want != "":
			hold := fault.List{{Path: "preparedOn", Message: want}, {Path: "deadline", Message: want}}
			if !reflect.DeepEqual(faults, hold) {
				t.Errorf("%s: got %v", text, faults)
			}
		}
	}
}

func TestPartnerTermsHaveLimits(t *testing.T) {
	for _, r := range []struct{ discount, margin, path, message string }{
		{"90", "95", "", ""},
		{"90.0001", "0", "partnerTerms.discountPercent", "got 90.0001 percent, allowed: 0 to 90"},
		{"0", "95.5", "partnerTerms.marginPercent", "got 95.5 percent, allowed: 0 to 95"},
		{"half", "0", "partnerTerms.discountPercent", `got "half", allowed: a decimal number such as "12.50"`},
		{"0", "1e1", "partnerTerms.marginPercent", `got "1e1", allowed: a decimal number such as "12.50"`},
	} {
		got, faults := wire.Brief(&mouldwrightv1.Brief{PartnerTerms: &mouldwrightv1.PartnerTerms{DiscountPercent: r.discount, MarginPercent: r.margin}})
		if r.path == "" {
			if len(faults) > 0 || got.Partner.Discount.String() != r.discount || got.Partner.Margin.String() != r.margin {
				t.Errorf("got %v, %v", got.Partner, faults)
			}
		} else if want := (fault.List{{Path: r.path, Message: r.message}}); !reflect.DeepEqual(faults, want) {
			t.Errorf("got %v, want %v", faults, want)
		}
	}
}

// A rate of exchange goes over to the last digit, and a partner without one has none.
// What the rest of the terms may say is the brief's to check.
func TestPartnerTermsGoOver(t *testing.T) {
	got, faults := wire.Brief(&mouldwrightv1.Brief{PartnerTerms: &mouldwrightv1.PartnerTerms{
		CurrencyCode: "EUR", ExchangeRate: "1.153217", Tax: "zero", Finishes: []string{"gloss", "matt"},
	}})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if p := got.Partner; p.Currency != "EUR" || p.Exchange.String() != "1.153217" || p.Tax != "zero" || !reflect.DeepEqual(p.Finishes, []string{"gloss", "matt"}) || p.Discount != nil || p.Margin != nil {
		t.Errorf("got %+v", p)
	}
	if got, _ := wire.Brief(&mouldwrightv1.Brief{PartnerTerms: &mouldwrightv1.PartnerTerms{CurrencyCode: "GBP"}}); got.Partner.Exchange != nil {
		t.Errorf("got a rate of %s", got.Partner.Exchange)
	}
	_, faults = wire.Brief(&mouldwrightv1.Brief{PartnerTerms: &mouldwrightv1.PartnerTerms{CurrencyCode: "EUR", ExchangeRate: "1,15"}})
	if want := (fault.List{{Path: "partnerTerms.exchangeRate", Message: `got "1,15", allowed: a decimal number such as "12.50"`}}); !reflect.DeepEqual(faults, want) {
		t.Errorf("got %v, want %v", faults, want)
	}
}

func TestWhatARateBookCannotTranslate(t *testing.T) {
	_, faults := wire.RateBook(&mouldwrightv1.RateBook{
		CurrencyCode: "XAU",
		Skills:       []*mouldwrightv1.Skill{{HourlyRate: "12,50"}},
		Equipment:    []*mouldwrightv1.Equipment{{HourlyRate: "£3"}},
		Materials: []*mouldwrightv1.Material{
			{Unit: "", Packs: []*mouldwrightv1.Pack{{Size: 0.3, Price: "1"}}},
			{Unit: "kgs", Packs: []*mouldwrightv1.Pack{{Size: 0.3, Price: "1.2.3"}}},
			{Unit: "kg", Packs: []*mouldwrightv1.Pack{{Size: 0.0005, Price: "1"}, {Size: math.NaN(), Price: "1"}}},
		},
		Operations: []*mouldwrightv1.Operation{{ChargeEach: "a", ChargePerUnit: "b"}},
		Policies: &mouldwrightv1.Policies{
			Margin:   &mouldwrightv1.MarginTerms{OverheadPerLabourHour: "x", MinimumCharge: "y"},
			TaxRates: []*mouldwrightv1.TaxRate{{Percent: "z"}}, RushTerms: []*mouldwrightv1.RushTerm{{Percent: "-"}}, StagePayments: []*mouldwrightv1.StageShare{{Percent: "."}},
		},
	})
	notDecimal := func(path, got string) fault.Fault {
		return fault.Fault{Path: path, Message: fmt.Sprintf("got %q, allowed: a decimal number such as \"12.50\"", got)}
	}
	want := fault.List{
		{Path: "currencyCode", Message: `currency "XAU": not a current currency of ISO 4217`},
		notDecimal("skills[0].hourlyRate", "12,50"),
		notDecimal("equipment[0].hourlyRate", "£3"),
		{Path: "materials[0].unit", Message: "missing, allowed: each, kg, L, m2, m, m3; only a mix needs none"},
		{Path: "materials[1].unit", Message: `unit "kgs": want one of each, h, kg, L, m2, m, m3, km, pack, lot`},
		notDecimal("materials[1].packs[0].price", "1.2.3"),
		{Path: "materials[2].packs[0].size", Message: "got 0.0005, allowed: at most 3 decimals for kg"},
		{Path: "materials[2].packs[1].size", Message: "quantity NaN kg: want a finite number between -10^12 and 10^12"},
		notDecimal("operations[0].chargeEach", "a"),
		notDecimal("operations[0].chargePerUnit", "b"),
		notDecimal("policies.margin.overheadPerLabourHour", "x"),
		notDecimal("policies.margin.minimumCharge", "y"),
		notDecimal("policies.taxRates[0].percent", "z"),
		notDecimal("policies.rushTerms[0].percent", "-"),
		notDecimal("policies.stagePayments[0].percent", "."),
	}
	for i := range max(len(faults), len(want)) {
		if i >= len(want) || i >= len(faults) || faults[i] != want[i] {
			t.Fatalf("got\n%v\nwant\n%v", faults, want)
		}
	}
}

// Each field arrives in the domain's field of its own name: that one changes, and
// no other. Where the domain has another word, the table says which.
func TestFieldsArriveWhereTheyBelong(t *testing.T) {
	for name, in := range inwards() {
		t.Run(name, func(t *testing.T) {
			seen := map[protoreflect.FullName]bool{}
			for pick := range in.picks {
				m := in.empty()
				(&filling{pick: pick}).message(m.ProtoReflect())
				before, _ := in.translate(proto.Clone(m))
				leaves(m.ProtoReflect(), "", func(l leaf) {
					if seen[l.field.FullName()] || in.leftOut(l.path) != "" {
						return
					}
					seen[l.field.FullName()] = true
					l.set(other(l.field, l.value))
					after, _ := in.translate(proto.Clone(m))
					l.set(l.value)
					var changed []string
					differences(reflect.ValueOf(before), reflect.ValueOf(after), "", &changed)
					if !belongs(l.field, strings.Join(changed, " ")) {
						t.Errorf("%s changes %v", l.field.FullName(), changed)
					}
				})
			}
		})
	}
}

// otherWords are the domain's words for what the contract calls otherwise.
func otherWords() map[string]string {
	return map[string]string{
		"Piece.handing":                        "Pair", // the only hands that differ from one
		"Piece.installed_height_mm":            "Standing",
		"Solid.contact_rim_mm":                 "Joined",
		"Dome.curve":                           "Profile",
		"Band.at_height_mm":                    "Height",
		"Outline.path_data":                    "Unread", // the other is none
		"Outline.mm_per_unit":                  "Area Perimeter Y X",
		"Outline.fill_rule":                    "Area Perimeter InsetLoss",
		"Outline.closed_back":                  "Ends",
		"Lettering.path_data":                  "Area Edge Unread",
		"Lettering.mm_per_unit":                "Area Edge",
		"Lettering.fill_rule":                  "Area Edge",
		"MeshForm.mesh":                        "Name",
		"MeshArea.name":                        "MeshArea",
		"Direction.x_ratio":                    "Pulls",
		"Direction.y_ratio":                    "Pulls",
		"Direction.z_ratio":                    "Pulls",
		"MouldChoice.moulds_per_hand":          "PerHand",
		"RateBook.currency_code":               "Code",           // of its Currency
		"Material.unit":                        "Unit Size Size", // its two packs are measured in it
		"CatalystBand.below_c":                 "ToC",
		"CautionTrigger.material_kinds":        "Kinds",
		"Policies.material_charge":             "Charge",
		"MarginTerms.overhead_per_labour_hour": "OverheadPerHour",
		"MarginTerms.tooling":                  "SpreadTooling", // the one of two ways that spreads
	}
}

// belongs says whether a domain field is a contract field's namesake, units aside.
func belongs(f protoreflect.FieldDescriptor, domain string) bool {
	name := string(f.Parent().Name()) + "." + string(f.Name())
	if word, ok := otherWords()[name]; ok {
		return word == domain
	}
	plain := strings.ReplaceAll(string(f.Name()), "_", "")
	return domain != "" && strings.HasPrefix(plain, strings.ToLower(domain))
}

// differences gathers the names of the fields that differ.
func differences(a, b reflect.Value, name string, into *[]string) {
	switch {
	case a.Kind() == reflect.Pointer || a.Kind() == reflect.Interface:
		if !a.IsNil() && !b.IsNil() {
			differences(a.Elem(), b.Elem(), name, into)
		}
	case a.Kind() == reflect.Slice:
		for i := range min(a.Len(), b.Len()) {
			differences(a.Index(i), b.Index(i), name, into)
		}
	case a.Type() == reflect.TypeFor[geometry.Kept]():
		differences(a.FieldByName("Solid"), b.FieldByName("Solid"), name, into) // its measures follow
	case a.Kind() == reflect.Struct && strings.Contains(a.Type().PkgPath(), "mouldwright") && a.Type() != reflect.TypeFor[unit.Quantity]():
		for i := range a.NumField() {
			differences(a.Field(i), b.Field(i), a.Type().Field(i).Name, into)
		}
	default:
		if fmt.Sprintf("%#v", a) != fmt.Sprintf("%#v", b) {
			*into = append(*into, name)
		}
	}
}

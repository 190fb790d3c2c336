package desk_test

import (
	"bytes"
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/desk/desktest"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// rounds is how many random briefs each law is tried on.
const rounds = 150

// law tries a law on random briefs; a failure names its seed.
func law(t *testing.T, try func(t *testing.T, c desktest.Chance, book *desk.Book)) {
	book, _ := demoBook(t)
	for seed := range uint64(rounds) {
		ok := t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) { try(t, desktest.New(book, seed), book) })
		if !ok {
			return
		}
	}
}

func net(t *testing.T, book *desk.Book, b *mouldwrightv1.Brief) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(price(t, book, b).GetNet().GetAmount())
	if !ok {
		t.Fatal("no net price")
	}
	return r
}

func clone(b *mouldwrightv1.Brief) *mouldwrightv1.Brief {
	return proto.CloneOf(b)
}

func TestTheSameBriefGivesTheSameBytes(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		first, err := wire.Encode(price(t, book, b))
		if err != nil {
			t.Fatal(err)
		}
		second, err := wire.Encode(price(t, book, clone(b)))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, second) {
			t.Fatal("two prices of one brief differ")
		}
	})
}

func TestAnotherZoneNeverLowersThePrice(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		more := clone(b)
		p := desktest.Pick(c, more.GetPieces())
		p.Zones = append(p.Zones, c.Zone("one more"))
		if before, after := net(t, book, b), net(t, book, more); after.Cmp(before) < 0 {
			t.Fatalf("a zone lowered the price from %s to %s", before.FloatString(2), after.FloatString(2))
		}
	})
}

func TestMoreCastsNeverLowerThePrice(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		// The less costly route may change with the quantity, and whole packs
		// with it; the law is about one way of working.
		for _, p := range b.GetPieces() {
			if p.GetRoute() == mouldwrightv1.Route_ROUTE_CHOOSE {
				p.Route = mouldwrightv1.Route_ROUTE_MOULDED
			}
		}
		more := clone(b)
		desktest.Pick(c, more.GetPieces()).Quantity += int32(1 + c.IntN(20))
		if before, after := net(t, book, b), net(t, book, more); after.Cmp(before) < 0 {
			t.Fatalf("more casts lowered the price from %s to %s", before.FloatString(2), after.FloatString(2))
		}
	})
}

func TestTheOrderOfPiecesDoesNotMatter(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		turned := clone(b)
		slices.Reverse(turned.Pieces)
		if one, other := net(t, book, b), net(t, book, turned); one.Cmp(other) != 0 {
			t.Fatalf("%s in one order, %s in the other", one.FloatString(2), other.FloatString(2))
		}
	})
}

// One pattern and one mould serve a piece; two pieces that are alike need two.
func TestSplittingAPieceInTwoNeverCostsLess(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		whole := c.Brief()
		whole.Pieces = whole.Pieces[:1]
		half := int32(1 + c.IntN(20))
		whole.Pieces[0].Quantity = 2 * half
		if whole.Pieces[0].Mould != nil {
			whole.Pieces[0].Mould.MouldsPerHand = nil
		}
		split := clone(whole)
		split.Pieces[0].Quantity = half
		second := proto.CloneOf(split.Pieces[0])
		second.Code = "second"
		split.Pieces = append(split.Pieces, second)
		if one, two := net(t, book, whole), net(t, book, split); two.Cmp(one) < 0 {
			t.Fatalf("%d casts cost %s, %d + %d cost %s", 2*half, one.FloatString(2), half, half, two.FloatString(2))
		}
	})
}

func TestAHandedPairIsTwoPatternsAndTwoMoulds(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		b.Pieces = b.Pieces[:1]
		p := b.Pieces[0]
		p.Handing, p.Route, p.Mould = mouldwrightv1.Handing_HANDING_PAIR, mouldwrightv1.Route_ROUTE_MOULDED, nil
		life := book.Edition.Policies.MouldLife
		p.Quantity = int32(1 + c.IntN(life))
		got := price(t, book, b).GetPieces()[0]
		if got.GetPatternCount() != 2 || got.GetMouldCount() != 2 || got.GetCastCount() != 2*p.GetQuantity() {
			t.Fatalf("%d of each hand: %d patterns, %d moulds, %d casts", p.GetQuantity(), got.GetPatternCount(), got.GetMouldCount(), got.GetCastCount())
		}
	})
}

func TestOneMouldServesUntilItsLifeIsSpent(t *testing.T) {
	book, _ := demoBook(t)
	life := int32(book.Edition.Policies.MouldLife)
	for _, row := range []struct{ casts, moulds int32 }{
		{1, 1}, {life - 1, 1}, {life, 1}, {life + 1, 2}, {2 * life, 2}, {2*life + 1, 3},
	} {
		b := desktest.New(book, 7).Brief()
		b.Pieces = b.Pieces[:1]
		p := b.Pieces[0]
		p.Handing, p.Route, p.Mould, p.Quantity = mouldwrightv1.Handing_HANDING_SINGLE, mouldwrightv1.Route_ROUTE_MOULDED, nil, row.casts
		got := price(t, book, b).GetPieces()[0]
		var pulls int32
		for _, n := range got.GetPullsPerMould() {
			pulls += n
			if n > life {
				t.Errorf("%d pulls from a mould of %d", n, life)
			}
		}
		if got.GetMouldCount() != row.moulds || pulls != row.casts {
			t.Errorf("%d casts: %d moulds with %v pulls, want %d moulds", row.casts, got.GetMouldCount(), got.GetPullsPerMould(), row.moulds)
		}
	}
}

// Scaling a form by s scales its surface by s squared and its foam by s cubed.
func TestScalingScalesTheTakeoff(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		b.Pieces = b.Pieces[:1]
		b.Pieces[0].Zones, b.Pieces[0].Route = nil, mouldwrightv1.Route_ROUTE_MOULDED
		s := c.In(0.2, 2)
		of, err := book.Brief(b)
		if err != nil {
			t.Fatal(err)
		}
		before, err := estimate.Measure(of, book.Edition)
		if err != nil {
			t.Fatal(err)
		}
		bigger, err := book.Brief(scaled(b, s))
		if err != nil {
			t.Fatal(err)
		}
		after, err := estimate.Measure(bigger, book.Edition)
		if err != nil {
			t.Fatal(err)
		}
		p, q := before.Pieces[0], after.Pieces[0]
		for _, row := range []struct {
			what     string
			got, was float64
			power    float64
		}{
			{"surface", q.Surface, p.Surface, 2},
			{"silhouette", q.Silhouette, p.Silhouette, 2},
			{"foam", q.Volume, p.Volume, 3},
			{"blank", q.Blank, p.Blank, 3},
			{"rim", q.Rim, p.Rim, 1},
			{"parting line", q.Parting, p.Parting, 1},
		} {
			if want := row.was * math.Pow(s, row.power); math.Abs(row.got-want) > 1e-9*math.Max(1e-6, want) {
				t.Fatalf("%s scaled by %g: got %g, want %g", row.what, s, row.got, want)
			}
		}
	})
}

// scaled multiplies every length of the solids by s.
func scaled(b *mouldwrightv1.Brief, s float64) *mouldwrightv1.Brief {
	out := clone(b)
	for _, solid := range out.Pieces[0].Form.Solids {
		m := solid.ProtoReflect()
		shape := m.Mutable(m.WhichOneof(m.Descriptor().Oneofs().ByName("shape"))).Message()
		fields := shape.Descriptor().Fields()
		for i := range fields.Len() {
			if f := fields.Get(i); f.Kind() == protoreflect.DoubleKind && f.Name() != "angle_deg" {
				shape.Set(f, protoreflect.ValueOfFloat64(s*shape.Get(f).Float()))
			}
		}
	}
	return out
}

// With no learning and no set-up shared between casts, twice the casts take
// twice the hours of everything done for each cast or zone.
func TestWithoutLearningHoursAreLinear(t *testing.T) {
	book, rules := demoBook(t)
	doc := proto.CloneOf(book.Document)
	for _, o := range doc.GetOperations() {
		o.LearningRate = nil
	}
	plain := reopened(t, doc, rules)
	for seed := range uint64(rounds) {
		b := desktest.New(plain, seed).Brief()
		for _, p := range b.GetPieces() {
			p.Route, p.Mould = mouldwrightv1.Route_ROUTE_MOULDED, nil
		}
		double := clone(b)
		for _, p := range double.GetPieces() {
			p.Quantity *= 2
		}
		one, two := repeated(t, plain, b), repeated(t, plain, double)
		// Each line is rounded to a hundredth of an hour.
		if lines := 0.015 * float64(len(two)); math.Abs(total(two)-2*total(one)) > lines {
			t.Fatalf("seed %d: %g h for the casts, %g h for twice the casts", seed, total(one), total(two))
		}
	}
}

func reopened(t *testing.T, doc *mouldwrightv1.RateBook, rules *wire.Validator) *desk.Book {
	t.Helper()
	text, err := wire.Encode(doc)
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(text, rules)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	return book
}

// repeated returns the hours of what is done for each cast or zone.
func repeated(t *testing.T, book *desk.Book, b *mouldwrightv1.Brief) []float64 {
	t.Helper()
	of, err := book.Brief(b)
	if err != nil {
		t.Fatal(err)
	}
	work, err := estimate.Work(of, book.Edition)
	if err != nil {
		t.Fatal(err)
	}
	var hours []float64
	for _, l := range work.Labour {
		if l.Per == ratebook.PerCast || l.Per == ratebook.PerZone {
			hours = append(hours, l.Hours.Float())
		}
	}
	return hours
}

func total(hours []float64) float64 {
	var sum float64
	for _, h := range hours {
		sum += h
	}
	return sum
}

// An option is priced as if it had been the brief.
func TestAnOptionIsTheBriefItWouldBe(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		changed := proto.CloneOf(b.GetPieces()[0])
		changed.Quantity += 3
		added := c.Piece("added")
		b.Options = []*mouldwrightv1.Option{{Code: "more", Name: "More", Pieces: []*mouldwrightv1.Piece{changed, added}}}
		q := price(t, book, b)
		as := clone(b)
		as.Options, as.Pieces[0] = nil, changed
		as.Pieces = append(as.Pieces, added)
		want := price(t, book, as).GetNet().GetAmount()
		if got := q.GetOptions()[0].GetNet().GetAmount(); got != want {
			t.Fatalf("as an option %s, as a brief %s", got, want)
		}
	})
}

// A piece that is a brief of its own costs no more on the route that was chosen
// than on the other.
func TestAChosenRouteCostsNoMoreThanTheOther(t *testing.T) {
	law(t, func(t *testing.T, c desktest.Chance, book *desk.Book) {
		b := c.Brief()
		b.Pieces = b.Pieces[:1]
		p := b.Pieces[0]
		p.Quantity, p.Finish, p.Mould = int32(1+c.IntN(6)), "gloss", nil
		p.Route = mouldwrightv1.Route_ROUTE_MOULDED
		moulded := net(t, book, b)
		p.Route = mouldwrightv1.Route_ROUTE_DIRECT
		direct := net(t, book, b)
		p.Route = mouldwrightv1.Route_ROUTE_CHOOSE
		chosen := net(t, book, b)
		if chosen.Cmp(moulded) > 0 || chosen.Cmp(direct) > 0 {
			t.Fatalf("moulded %s, direct %s, chosen %s", moulded.FloatString(2), direct.FloatString(2), chosen.FloatString(2))
		}
	})
}

// What is done on a zone is the zone's money, whatever stage it belongs to.
func TestTheMoneyOfAZoneStaysWithItsPiece(t *testing.T) {
	book, _ := demoBook(t)
	b := desktest.New(book, 3).Brief()
	b.Pieces = append(b.Pieces[:1], desktest.New(book, 4).Piece("spotted"))
	b.Pieces[0].Zones, b.Pieces[1].Zones = nil, nil
	before := price(t, book, b)
	b.Pieces[1].Zones = []*mouldwrightv1.Zone{desktest.New(book, 5).Zone("spots")}
	after := price(t, book, b)
	plain := func(q *mouldwrightv1.Quote) *big.Rat {
		return sum(q.GetLines(), func(l *mouldwrightv1.PriceLine) *big.Rat {
			r := new(big.Rat)
			if l.GetPiece() == b.Pieces[0].GetCode() {
				r.SetString(l.GetParts().GetCost().GetAmount())
			}
			return r
		})
	}
	if plain(before).Cmp(plain(after)) != 0 {
		t.Errorf("the plain piece cost %s, and %s once the other had spots", plain(before).FloatString(2), plain(after).FloatString(2))
	}
}

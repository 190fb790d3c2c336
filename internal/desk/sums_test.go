package desk_test

import (
	"fmt"
	"math"
	"math/big"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/desk/desktest"
)

// audit redoes a quote from its printed figures alone, in math/big, the way a
// reader with a calculator would. It shares no arithmetic with the engine.
type audit struct {
	t *testing.T
	q *mouldwrightv1.Quote
}

func (a audit) rat(text string) *big.Rat {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		a.t.Fatalf("not a number: %q", text)
	}
	return r
}

func (a audit) money(m *mouldwrightv1.Money) *big.Rat {
	if m.GetCurrencyCode() != a.q.GetCurrencyCode() {
		a.t.Fatalf("money in %s on a quote in %s", m.GetCurrencyCode(), a.q.GetCurrencyCode())
	}
	return a.rat(m.GetAmount())
}

// round rounds half away from zero to decimals.
func round(r *big.Rat, decimals int) *big.Rat {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)
	scaled := new(big.Rat).Mul(r, new(big.Rat).SetInt(scale))
	half := big.NewRat(int64(scaled.Sign()), 2)
	scaled.Add(scaled, half)
	whole := new(big.Int).Quo(scaled.Num(), scaled.Denom()) // towards zero
	return new(big.Rat).SetFrac(whole, scale)
}

func (a audit) same(what string, got, want *big.Rat) {
	a.t.Helper()
	if got.Cmp(want) != 0 {
		a.t.Fatalf("%s: got %s, want %s", what, got.FloatString(6), want.FloatString(6))
	}
}

func sum[T any](list []T, of func(T) *big.Rat) *big.Rat {
	total := new(big.Rat)
	for _, x := range list {
		total.Add(total, of(x))
	}
	return total
}

const pence = 2 // decimals of the demo book's currency

func (a audit) extended(what string, q *mouldwrightv1.Quantity, price, amount *mouldwrightv1.Money) {
	a.t.Helper()
	product := new(big.Rat).Mul(a.rat(q.GetValue()), a.money(price))
	a.same(what+": quantity x unit price", a.money(amount), round(product, pence))
}

func (a audit) all() {
	a.costs()
	a.lines()
	a.steps()
	a.taxes()
	a.labour()
	a.purchases()
	finite(a.t, "quote", a.q.ProtoReflect())
	if len(a.q.GetCautions()) == 0 {
		a.t.Fatal("a quote without cautions")
	}
}

func (a audit) costs() {
	for _, l := range a.q.GetWorkings().GetCosts() {
		a.extended(l.GetDescription(), l.GetQuantity(), l.GetUnitCost(), l.GetAmount())
		if l.GetKind() != mouldwrightv1.CostKind_COST_KIND_LEFT_OVER {
			a.derived(l.GetDescription(), l.GetDerivation(), l.GetQuantity())
		}
	}
}

func (a audit) lines() {
	amount := func(l *mouldwrightv1.PriceLine) *big.Rat { return a.money(l.GetAmount()) }
	for _, l := range a.q.GetLines() {
		a.extended(l.GetDescription(), l.GetQuantity(), l.GetUnitPrice(), l.GetAmount())
		a.derived(l.GetDescription(), l.GetDerivation(), l.GetQuantity())
		a.same(l.GetDescription()+": parts", sum(parts(l), a.money), amount(l))
		if amount(l).Sign() < 0 {
			a.t.Fatalf("%s costs less than nothing", l.GetDescription())
		}
	}
	net := a.money(a.q.GetNet())
	sub := func(s *mouldwrightv1.Subtotal) *big.Rat { return a.money(s.GetAmount()) }
	a.same("lines", sum(a.q.GetLines(), amount), net)
	a.same("subtotals by piece", sum(a.q.GetPieceSubtotals(), sub), net)
	a.same("subtotals by stage", sum(a.q.GetStageSubtotals(), sub), net)
	for _, s := range a.q.GetPieceSubtotals() {
		own := sum(a.q.GetLines(), func(l *mouldwrightv1.PriceLine) *big.Rat {
			if l.GetPiece() != s.GetPiece() {
				return new(big.Rat)
			}
			return amount(l)
		})
		a.same(s.GetDescription(), own, sub(s))
	}
}

func parts(l *mouldwrightv1.PriceLine) []*mouldwrightv1.Money {
	p := l.GetParts()
	return []*mouldwrightv1.Money{p.GetCost(), p.GetLeftOver(), p.GetOverhead(), p.GetContingency(), p.GetMargin(), p.GetRush(), p.GetDiscount(), p.GetMinimum()}
}

// steps: each step of the build-up is the sum of its parts over the lines, and
// they run up to the net price.
func (a audit) steps() {
	names := []string{"cost", "left_over", "overhead", "contingency", "margin", "rush", "discount", "minimum"}
	running := new(big.Rat)
	for _, s := range a.q.GetWorkings().GetSteps() {
		running.Add(running, a.money(s.GetAmount()))
		a.same("running after "+s.GetCode(), a.money(s.GetRunning()), running)
		for i, name := range names {
			if name == s.GetCode() {
				a.same(name+" over the lines", sum(a.q.GetLines(), func(l *mouldwrightv1.PriceLine) *big.Rat { return a.money(parts(l)[i]) }), a.money(s.GetAmount()))
			}
		}
	}
	a.same("steps", running, a.money(a.q.GetNet()))
	costs := sum(a.q.GetWorkings().GetCosts(), func(l *mouldwrightv1.CostLine) *big.Rat {
		if l.GetKind() == mouldwrightv1.CostKind_COST_KIND_LEFT_OVER {
			return new(big.Rat)
		}
		return a.money(l.GetAmount())
	})
	a.same("cost lines", costs, a.money(a.q.GetWorkings().GetSteps()[0].GetAmount()))
	a.leftOver()
}

// leftOver: what whole packs leave over is bought less charged, and a step of its
// own.
func (a audit) leftOver() {
	left := sum(a.q.GetWorkings().GetCosts(), func(l *mouldwrightv1.CostLine) *big.Rat {
		if l.GetKind() != mouldwrightv1.CostKind_COST_KIND_LEFT_OVER {
			return new(big.Rat)
		}
		return a.money(l.GetAmount())
	})
	step := new(big.Rat)
	for _, s := range a.q.GetWorkings().GetSteps() {
		if s.GetCode() == "left_over" {
			step = a.money(s.GetAmount())
		}
	}
	a.same("left over", left, step)
}

func (a audit) taxes() {
	gross := a.money(a.q.GetNet())
	for _, x := range a.q.GetTaxes() {
		net := sum(a.q.GetLines(), func(l *mouldwrightv1.PriceLine) *big.Rat {
			if l.GetTax() != x.GetCode() {
				return new(big.Rat)
			}
			return a.money(l.GetAmount())
		})
		a.same("net at "+x.GetName(), a.money(x.GetNet()), net)
		due := new(big.Rat).Mul(net, a.rat(x.GetPercent()))
		a.same(x.GetName(), a.money(x.GetTax()), round(due.Quo(due, big.NewRat(100, 1)), pence))
		gross.Add(gross, a.money(x.GetTax()))
	}
	a.same("gross", a.money(a.q.GetGross()), gross)
	a.same("payments", sum(a.q.GetPayments(), func(p *mouldwrightv1.StagePayment) *big.Rat { return a.money(p.GetAmount()) }), gross)
}

func (a audit) labour() {
	bySkill := map[string]*big.Rat{}
	for _, l := range a.q.GetWorkings().GetLabour() {
		a.derived(l.GetName(), l.GetDerivation(), l.GetHours())
		if bySkill[l.GetSkill()] == nil {
			bySkill[l.GetSkill()] = new(big.Rat)
		}
		bySkill[l.GetSkill()].Add(bySkill[l.GetSkill()], a.rat(l.GetHours().GetValue()))
	}
	for _, s := range a.q.GetWorkings().GetSkillHours() {
		a.same("hours of "+s.GetName(), a.rat(s.GetHours().GetValue()), bySkill[s.GetSkill()])
	}
}

func (a audit) purchases() {
	for _, p := range a.q.GetWorkings().GetPurchases() {
		need, bought, left := a.rat(p.GetNeeded().GetValue()), a.rat(p.GetBought().GetValue()), a.rat(p.GetLeftOver().GetValue())
		if left.Sign() < 0 {
			a.t.Fatalf("%s: %s bought for %s", p.GetName(), bought.FloatString(3), need.FloatString(3))
		}
		a.same(p.GetName()+": needed and left over", new(big.Rat).Add(need, left), bought)
		a.same(p.GetName()+": packs", sum(p.GetPacks(), func(k *mouldwrightv1.PurchasePack) *big.Rat {
			return new(big.Rat).Mul(big.NewRat(int64(k.GetCount()), 1), a.money(k.GetPrice()))
		}), a.money(p.GetCost()))
	}
}

// derived redoes the steps of a derivation and holds the last to the quantity.
func (a audit) derived(what string, d *mouldwrightv1.Derivation, q *mouldwrightv1.Quantity) {
	a.t.Helper()
	if len(d.GetSteps()) == 0 || d.GetWords() == "" {
		a.t.Fatalf("%s: no derivation", what)
	}
	var last float64
	for i, s := range d.GetSteps() {
		last = redo(s)
		if got := s.GetResult().GetValue(); math.Abs(got-last) > 1e-9*math.Max(1, math.Abs(last)) {
			a.t.Fatalf("%s: step %d gives %v, says %v", what, i, last, got)
		}
	}
	decimals := map[string]int{"h": 2, "kg": 3, "L": 3, "m2": 3, "m": 2, "m3": 4, "km": 1}[q.GetUnit()]
	printed, _ := a.rat(q.GetValue()).Float64()
	if slack := 0.5000001 * math.Pow10(-decimals); math.Abs(printed-last) > slack {
		a.t.Fatalf("%s: derivation gives %v, printed %v (%s)", what, last, printed, d.GetWords())
	}
}

func redo(s *mouldwrightv1.Step) float64 {
	terms := s.GetTerms()
	switch s.GetOperator() {
	case mouldwrightv1.Operator_OPERATOR_PRODUCT:
		v := 1.0
		for _, t := range terms {
			v *= t.GetValue()
		}
		return v
	case mouldwrightv1.Operator_OPERATOR_SUM:
		var v float64
		for _, t := range terms {
			v += t.GetValue()
		}
		return v
	case mouldwrightv1.Operator_OPERATOR_ROUND_UP:
		return math.Ceil(terms[0].GetValue() / terms[1].GetValue())
	default:
		return terms[0].GetValue() / terms[1].GetValue()
	}
}

// finite walks every field: no figure of a quote is NaN, infinite or negative.
func finite(t *testing.T, path string, m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		at := path + "." + f.JSONName()
		switch {
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				finite(t, fmt.Sprintf("%s[%d]", at, i), v.List().Get(i).Message())
			}
		case f.Message() != nil:
			finite(t, at, v.Message())
			if money, ok := v.Message().Interface().(*mouldwrightv1.Money); ok && strings.HasPrefix(money.GetAmount(), "-") && !mayBeNegative(at) {
				t.Fatalf("%s is %s", at, money.GetAmount())
			}
		case f.Kind() == protoreflect.Int32Kind && !f.IsList():
			if v.Int() < 0 {
				t.Fatalf("%s is %d", at, v.Int())
			}
		case f.Kind() == protoreflect.DoubleKind:
			if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
				t.Fatalf("%s is %v", at, x)
			}
		}
		return true
	})
}

// mayBeNegative: only a discount takes away, and an option may save.
func mayBeNegative(path string) bool {
	return strings.HasSuffix(path, ".discount") || strings.HasSuffix(path, ".difference") || strings.Contains(path, ".steps[")
}

// Ten thousand random briefs, shared out over a few goroutines.
func TestEveryFigureOfAQuoteCanBeRedone(t *testing.T) {
	book, rules := demoBook(t)
	const shards = 4
	briefs := uint64(10_000)
	if testing.Short() {
		briefs = 400
	}
	for shard := range uint64(shards) {
		t.Run(fmt.Sprintf("shard %d", shard), func(t *testing.T) {
			t.Parallel()
			for seed := shard; seed < briefs; seed += shards {
				b := desktest.New(book, seed).Brief()
				if err := rules.Check(b).Err(); err != nil {
					t.Fatalf("seed %d: the generator made a faulty brief: %v", seed, err)
				}
				audit{t, quoted(t, book, b, seed)}.all()
			}
		})
	}
}

func quoted(t *testing.T, book *desk.Book, b *mouldwrightv1.Brief, seed uint64) *mouldwrightv1.Quote {
	t.Helper()
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	return price(t, book, b)
}

package unit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// dec reads a decimal that the test knows to be good.
func dec(s string) unit.Decimal {
	d, err := unit.ParseDecimal(s)
	if err != nil {
		panic(err)
	}
	return d
}

func decs(ss ...string) []unit.Decimal {
	ds := make([]unit.Decimal, len(ss))
	for i, s := range ss {
		ds[i] = dec(s)
	}
	return ds
}

// money finds a currency that the test knows to exist.
func money(code string) unit.Currency {
	c, err := unit.ParseCurrency(code)
	if err != nil {
		panic(err)
	}
	return c
}

// row is one check value from outside the project.
type row struct {
	id, source, known string
	got, want         string
}

func runRows(t *testing.T, rows []row) {
	t.Helper()
	for _, r := range rows {
		t.Run(r.id, func(t *testing.T) {
			require.Equal(t, r.want, r.got, "%s (%s)", r.source, r.known)
		})
	}
}

func TestCommercialRows(t *testing.T) {
	gbp, eur, usd := money("GBP"), money("EUR"), money("USD")
	vat := func(of, rate string) unit.Decimal { return unit.Percent(dec(of), dec(rate), eur) }
	line := unit.Percent(dec("1.13"), dec("20"), gbp)
	uncut := dec("3.39").Mul(dec("0.20"))
	atMargin := dec("1234.56").MustDiv(dec("0.65"))
	const hmrc = "HMRC VATREC12010, 12030; Notice 700 s.17.5"
	runRows(t, []row{
		{"COM-03 price at 35 % margin", "identity", "computed", gbp.Format(atMargin), "1899.32"},
		{"COM-13 three lines of 1.13 at 20 %, per line", hmrc, "rule read now; computed", gbp.Format(unit.Sum(line, line, line)), "0.69"},
		{"COM-13 on the document", hmrc, "rule read now; computed", gbp.Format(unit.Percent(dec("3.39"), dec("20"), gbp)), "0.68"},
		{"COM-13 on the document, rounded down", hmrc, "rule read now; computed", gbp.Format(uncut.Trunc(2)), "0.67"},
		{"COM-15 25 % of 1460.50", "ubl-tc434-example2.xml", "read now", eur.Format(vat("1460.50", "25")), "365.13"},
		{"COM-15 15 % of 1.00", "ubl-tc434-example2.xml", "read now", eur.Format(vat("1.00", "15")), "0.15"},
		{
			"COM-15 net", "ubl-tc434-example2.xml", "read now",
			eur.Format(unit.Sum(decs("1273.00", "-3.96", "4.96", "-25.00", "187.50", "-100", "100")...)), "1436.50",
		},
		{"COM-15 gross", "ubl-tc434-example2.xml", "read now", eur.Format(unit.Sum(dec("1436.50"), vat("1460.50", "25"), vat("1.00", "15"))), "1801.78"},
		{"COM-17 6 %", "ubl-tc434-example1.xml", "read now", eur.Format(vat("183.23", "6")), "10.99"},
		{"COM-17 21 %", "ubl-tc434-example1.xml", "read now", eur.Format(vat("46.37", "21")), "9.74"},
		{
			"COM-17 gross", "ubl-tc434-example1.xml", "read now",
			eur.Format(unit.Sum(dec("183.23"), dec("46.37"), vat("183.23", "6"), vat("46.37", "21"))), "250.33",
		},
		{"COM-19 net", "UBL-Quotation-2.1-Example.xml", "read now", usd.Format(unit.Sum(decs("150500", "43750", "1750", "1750")...)), "197750.00"},
		{"COM-19 tax", "UBL-Quotation-2.1-Example.xml", "read now", usd.Format(unit.Percent(dec("197750"), dec("25"), usd)), "49437.50"},
		{"COM-19 gross", "UBL-Quotation-2.1-Example.xml", "read now", usd.FormatGrouped(unit.Sum(dec("197750"), dec("49437.50"))), "247,187.50"},
		{
			"EN 16931 price with five decimals", "EN 16931 example 8 (ubl-tc434-example8.xml)", "read",
			eur.Format(unit.Extend(unit.Count(16000), dec("0.00880"), eur)), "140.80",
		},
		{
			"EN 16931 441.00 per 12", "EN 16931 example 8 (ubl-tc434-example8.xml)", "read",
			unit.PriceEach(dec("441.00"), unit.Count(12), eur).String(), "36.75",
		},
	})
}

// Rounding is HALF_UP as the Java SE RoundingMode table shows it, that is half
// away from zero; yen have no decimals and so show it on whole numbers.
func TestRoundingRows(t *testing.T) {
	jpy, gbp := money("JPY"), money("GBP")
	const table = "Java SE RoundingMode table, column HALF_UP"
	const trap = "binary trap: 1.005*100 = 100.49999999999999, round(2.675,2)=2.67, 4.35*100=434.99999999999994"
	rows := []row{
		{"COM-20 -2.5", table, "read now", jpy.Format(dec("-2.5")), "-3"},
		{"trap 1.005", trap, "read", gbp.Format(dec("1.005")), "1.01"},
		{"trap 2.675", trap, "read", gbp.Format(dec("2.675")), "2.68"},
		{"trap 4.35", trap, "read", dec("4.35").Mul(dec("100")).String(), "435"},
		{"VATREC12030 half up", "HMRC VATREC12030", "rule read now", gbp.Format(dec("0.005")), "0.01"},
		{"VATREC12030 below half", "HMRC VATREC12030", "rule read now", gbp.Format(dec("0.004999999999999999")), "0.00"},
		{"no minus zero", "own", "computed", gbp.Format(dec("-0.004")), "0.00"},
	}
	for in, want := range map[string]string{
		"5.5": "6", "2.5": "3", "1.6": "2", "1.1": "1", "1.0": "1", "-1.0": "-1", "-1.1": "-1", "-1.6": "-2", "-5.5": "-6",
	} {
		rows = append(rows, row{"COM-21 " + in, table, "from memory", jpy.Format(dec(in)), want})
	}
	runRows(t, rows)
}

func TestSplitRows(t *testing.T) {
	gbp := money("GBP")
	for _, r := range []struct {
		id, total string
		weights   []string
		want      []string
		source    string
	}{
		{"COM-23 stages 40/40/20", "1000.01", []string{"40", "40", "20"}, []string{"400.01", "400", "200"}, "own"},
		{"COM-23 three equal", "1.00", []string{"1", "1", "1"}, []string{"0.34", "0.33", "0.33"}, "own"},
		{"COM-24 ties to first", "1234.57", []string{"3", "3", "1"}, []string{"529.10", "529.10", "176.37"}, "own"},
		{"mirror of COM-23", "-1.00", []string{"1", "1", "1"}, []string{"-0.34", "-0.33", "-0.33"}, "own"},
		{"all weights zero", "0.05", []string{"0", "0"}, []string{"0.03", "0.02"}, "own"},
		{"a zero weight gets nothing", "0.05", []string{"0", "1", "1"}, []string{"0", "0.03", "0.02"}, "own"},
		{"a negative weight counts as zero", "0.05", []string{"-7", "1", "1"}, []string{"0", "0.03", "0.02"}, "own"},
		{"total finer than the penny", "0.005", []string{"1", "1"}, []string{"0.003", "0.002"}, "own"},
		// One weight above 2^64 and a total of 2^64 pence: the quotient at which the
		// decimal library's widest division panics.
		{"quotient 2^64", "184467440737095516.16", []string{"50.0000000000000000", "0", "0.000000000000000001"}, []string{"184467440737095516.16", "0", "0"}, "own"},
		{"nothing to share", "0", []string{"1", "2"}, []string{"0", "0"}, "own"},
		{"no weights", "1", nil, nil, "own"},
	} {
		t.Run(r.id, func(t *testing.T) {
			got := unit.Split(dec(r.total), decs(r.weights...), gbp)
			require.Len(t, got, len(r.want), r.source)
			for i, want := range r.want {
				require.Zero(t, got[i].Cmp(dec(want)), "share %d: got %v, want %v", i, got[i], want)
			}
		})
	}
}

// Sixty lines in turn of weight 1, 2 and 3 share 1.50 as 1.25, 2.5 and 3.75 pence:
// the halves in the middle are tied, and more than an unstable sort keeps in order.
// The 20 remainders of 0.75 go first, then the first 10 of 0.5.
func TestSplitTiesGoToTheFirst(t *testing.T) {
	var weights, want []unit.Decimal
	for i := range 20 {
		weights = append(weights, decs("1", "2", "3")...)
		middle := "0.02"
		if i < 10 {
			middle = "0.03"
		}
		want = append(want, decs("0.01", middle, "0.04")...)
	}
	for i, share := range unit.Split(dec("1.50"), weights, money("GBP")) {
		require.True(t, want[i].Equal(share), "share %d: got %v, want %v", i, share, want[i])
	}
}

// 0.02 for 0.8 kg is 0.025 each: 0.02 and 0.03 both multiply out to 0.02.
func TestPriceEachTieGoesDown(t *testing.T) {
	q, err := unit.Measure(0.8, unit.Kilogram)
	require.NoError(t, err)
	require.Equal(t, "0.02", unit.PriceEach(dec("0.02"), q, money("GBP")).String())
	require.Equal(t, "-0.02", unit.PriceEach(dec("-0.02"), q, money("GBP")).String())
}

func TestPriceEachOfNothing(t *testing.T) {
	gbp := money("GBP")
	require.True(t, unit.PriceEach(unit.Decimal{}, unit.Count(0), gbp).IsZero())
	require.True(t, unit.PriceEach(unit.Decimal{}, unit.Count(3), gbp).IsZero())
}

// The widest case of the proof at PriceEach: q just under 10^12, four digits.
func TestPriceEachAtItsLimit(t *testing.T) {
	clf := money("CLF")
	q := unit.Count(999_999_999_999)
	for _, amount := range decs("0.0001", "-0.0001", "1", "123456789012345678.9999") {
		price := unit.PriceEach(amount, q, clf)
		require.True(t, unit.Extend(q, price, clf).Equal(amount), "%v: price %v", amount, price)
		require.LessOrEqual(t, price.Prec(), 16)
	}
}

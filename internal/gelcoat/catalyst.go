package gelcoat

import (
	"errors"
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Band is the catalyst that a supplier's chart asks for between two workshop
// temperatures. A shared edge belongs to the warmer band; the chart's top edge
// belongs to its last band.
type Band struct {
	FromC, ToC float64 // deg C
	Percent    float64 // of the resin by mass, 0.1 to 10
}

// Percent is the catalyst, percent by mass, that a chart asks for at a workshop
// temperature (deg C). The chart's bands rise and do not overlap; a temperature
// outside all of them is refused, since a chart says nothing beyond its ends.
//
// Source: the chart is the supplier's; e.g. the East Coast Fibreglass quantity guide
// and catalyst chart.
func Percent(bands []Band, tempC float64) (float64, error) {
	if err := checkBands(bands); err != nil {
		return 0, err
	}
	for i, b := range bands {
		last := i == len(bands)-1
		if tempC >= b.FromC && (tempC < b.ToC || last && tempC == b.ToC) {
			return b.Percent, nil
		}
	}
	low, high := bands[0].FromC, bands[len(bands)-1].ToC
	return 0, fault.Unless(false, "workshop temperature, deg C", tempC, fmt.Sprintf("a band of the chart, %g to %g", low, high))
}

// CatalystMass is the catalyst for a mass of resin or gelcoat (kg) at 0.1 to 10
// percent by mass, kg.
//
// Source: definition of the percentage.
func CatalystMass(resin, percent float64) (float64, error) {
	if err := checkDose(resin, percent); err != nil {
		return 0, err
	}
	return resin * percent / 100, nil
}

// CatalystMillilitres is the catalyst by the workshop's measure, ml: 10 ml for each
// kg and percent. It weighs 11 to 12 g per 10 ml (from memory), so it is slightly
// more than [CatalystMass].
//
// Source: UK supplier guide "How much catalyst to add"; East Coast Fibreglass chart.
func CatalystMillilitres(resin, percent float64) (float64, error) {
	if err := checkDose(resin, percent); err != nil {
		return 0, err
	}
	return float64(10 * resin * percent), nil
}

// GelPoint is one printed point of a gel time table at one dose of catalyst.
type GelPoint struct {
	TempC   float64 // deg C
	Minutes float64 // above 0
}

// PotLife is the gel time, minutes, at a temperature (deg C), read from a product's
// table with rising temperatures. Between points it runs straight in the logarithm
// of time, because reaction rate multiplies rather than adds as it warms (our
// choice; published tables differ fourfold between products, so there is no law to
// extend them by). Outside the table it is refused.
//
// Source: the table is the product's; e.g. the BoatCraft gel coat guide.
func PotLife(table []GelPoint, tempC float64) (float64, error) {
	if err := checkTable(table); err != nil {
		return 0, err
	}
	for i, p := range table {
		if tempC == p.TempC {
			return p.Minutes, nil
		}
		if i > 0 && tempC > table[i-1].TempC && tempC < p.TempC {
			return between(table[i-1], p, tempC), nil
		}
	}
	low, high := table[0].TempC, table[len(table)-1].TempC
	return 0, fault.Unless(false, "temperature, deg C", tempC, fmt.Sprintf("inside the table, %g to %g", low, high))
}

// MaxBatch is the most that can be laid before it gels, kg: pot life (minutes, 0.1 to
// 1e4) x laying rate (kg/min, 1e-4 to 1e3).
//
// Source: definition of the rate.
func MaxBatch(potLife, rate float64) (float64, error) {
	err := errors.Join(
		fault.Unless(potLife >= 0.1 && potLife <= 1e4, "pot life, minutes", potLife, "0.1 to 1e4"),
		fault.Unless(rate >= 1e-4 && rate <= 1e3, "laying rate, kg/min", rate, "1e-4 to 1e3"),
	)
	if err != nil {
		return 0, err
	}
	return float64(potLife * rate), nil
}

// Batches is how many mixes of at most a batch (kg, 1e-5 to 1e7) make up a mass (kg,
// 0 to 1e6): ceil(m / batch), 0 for nothing to mix.
//
// Source: identity.
func Batches(mass, batch float64) (int, error) {
	err := errors.Join(
		checkMass("mass, kg", mass),
		fault.Unless(batch >= 1e-5 && batch <= 1e7, "batch, kg", batch, "1e-5 to 1e7"),
	)
	if err != nil {
		return 0, err
	}
	// The tolerance keeps binary noise (2.1 / 0.7) from asking for one mix more.
	return int(math.Ceil(mass / batch * (1 - 1e-9))), nil
}

// between reads the straight line in the logarithm of time from a to b.
func between(a, b GelPoint, tempC float64) float64 {
	share := (tempC - a.TempC) / (b.TempC - a.TempC)
	return float64(a.Minutes * math.Pow(b.Minutes/a.Minutes, share))
}

func checkDose(resin, percent float64) error {
	return errors.Join(checkMass("resin, kg", resin), checkPercent(percent))
}

// checkPercent refuses 0.02, which is how 2 % looks to a caller who thinks in shares.
func checkPercent(percent float64) error {
	return fault.Unless(percent >= 0.1 && percent <= 10, "catalyst, percent by mass", percent, "0.1 to 10")
}

func checkBands(bands []Band) error {
	err := fault.Unless(len(bands) > 0, "bands of the chart", 0, "1 or more")
	for i, b := range bands {
		err = errors.Join(err, checkPercent(b.Percent), checkTempC(b.FromC),
			fault.Unless(b.ToC > b.FromC && b.ToC <= 300, "band's upper temperature, deg C", b.ToC, "above its lower one, to 300"))
		if i > 0 {
			err = errors.Join(err, fault.Unless(b.FromC >= bands[i-1].ToC, "band's lower temperature, deg C",
				b.FromC, "the previous band's upper one or more"))
		}
	}
	return err
}

func checkTable(table []GelPoint) error {
	err := fault.Unless(len(table) > 0, "points of the gel time table", 0, "1 or more")
	for i, p := range table {
		err = errors.Join(err, checkTempC(p.TempC),
			fault.Unless(p.Minutes >= 0.1 && p.Minutes <= 1e4, "gel time, minutes", p.Minutes, "0.1 to 1e4"))
		if i > 0 {
			err = errors.Join(err, fault.Unless(p.TempC > table[i-1].TempC, "table temperature, deg C",
				p.TempC, "above the previous point's"))
		}
	}
	return err
}

func checkTempC(tempC float64) error {
	return fault.Unless(tempC >= -50 && tempC <= 300, "temperature, deg C", tempC, "-50 to 300")
}

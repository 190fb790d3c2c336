package unit_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/unit"
)

func TestParseDecimal(t *testing.T) {
	for in, want := range map[string]string{
		"0": "0", "-0": "0", "+1.50": "1.5", "-12.345": "-12.345", "007": "7", "0.000000000000000001": "0.000000000000000001",
		strings.Repeat("9", 30): strings.Repeat("9", 30),
		"-" + strings.Repeat("9", 12) + "." + strings.Repeat("9", 18): "-" + strings.Repeat("9", 12) + "." + strings.Repeat("9", 18),
	} {
		d, err := unit.ParseDecimal(in)
		require.NoError(t, err, in)
		require.Equal(t, want, d.String())
	}
}

func TestParseDecimalRefuses(t *testing.T) {
	for _, in := range []string{
		"", "+", "-", ".", ".5", "5.", "-.5", "1.2.3", "--1", "+-1", "1e3", "1E3", "0x1", "1_000", "1,000", "1,5", " 1", "1 ",
		"NaN", "Inf", "-Infinity", "١", "1\x00", "0.0000000000000000001", strings.Repeat("9", 31),
		strings.Repeat("9", 20) + "." + strings.Repeat("1", 11), strings.Repeat("0", 100_000),
	} {
		d, err := unit.ParseDecimal(in)
		require.Error(t, err, in)
		require.True(t, d.IsZero())
		require.Less(t, len(err.Error()), 120)
	}
}

// What parses prints as a text that parses to the same number, and that text is
// settled.
func FuzzParseDecimal(f *testing.F) {
	for _, s := range []string{"0", "-0", "1.50", "+007.10", "-0.000000000000000001", "999999999999999999999999999999", "1e5", "5.", "--1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := unit.ParseDecimal(s)
		if err != nil {
			return
		}
		again, err := unit.ParseDecimal(d.String())
		require.NoError(t, err)
		require.True(t, d.Equal(again))
		require.Equal(t, d.String(), again.String())
		require.NotEqual(t, "-0", d.String())
		require.Zero(t, rat(d).Cmp(mustRat(strings.TrimPrefix(s, "+"))))
	})
}

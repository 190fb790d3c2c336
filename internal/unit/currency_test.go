package unit_test

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/unit"
)

// COM-22. Source: SIX list one 2023-01-01 (npm @iso4217/json); read now.
func TestMinorUnitRows(t *testing.T) {
	for code, want := range map[string]int{
		"GBP": 2, "JPY": 0, "BHD": 3, "CLF": 4, "IQD": 3, "MGA": 2, "ISK": 0, "HUF": 2,
	} {
		require.Equal(t, want, money(code).Digits, code)
	}
}

func TestParseCurrencyRefuses(t *testing.T) {
	for _, code := range []string{"", "gbp", "GB", "GBPX", "£", "G P", "QQQ", "XXX", "XTS", "XAU", "XDR", "ABC\x00", "ÄÖÜ"} {
		_, err := unit.ParseCurrency(code)
		require.Error(t, err, code)
	}
}

// changed lists where the currency library and list one of 2023-01-01 differ.
// None is about a minor unit: the library follows a later list one, and is the
// one to keep.
func changed(code string) (why string, known bool) {
	switch code {
	case "BGN":
		return "ISO 4217 amendment 180: historic from 2026-01-01, Bulgaria uses EUR (read, as quoted in public issue trackers)", true
	case "ZWL":
		return "replaced by ZWG from 2024-06-25 (read, Reserve Bank of Zimbabwe's statement in the press)", true
	case "SLL":
		return "replaced by SLE (from memory)", true
	case "CUC":
		return "withdrawn, Cuba uses CUP (from memory)", true
	case "ANG":
		return "replaced by XCG (from memory)", true
	}
	return "", false
}

func TestMinorUnitsAgainstListOne(t *testing.T) {
	for code, digits := range listOne(t) {
		got, err := unit.ParseCurrency(code)
		why, known := changed(code)
		switch want, numeric := digits.(float64); {
		case !numeric: // "N.A.": gold, drawing rights, testing
			require.Error(t, err, code)
		case known:
			require.Error(t, err, "%s: %s", code, why)
		default:
			require.NoError(t, err, code)
			require.Equal(t, int(want), got.Digits, code)
		}
	}
}

// listOne reads the published minor units, kept beside the checkout.
func listOne(t *testing.T) map[string]any {
	t.Helper()
	path := filepath.Join("..", "..", "..", "shared", "data", "iso4217", "minor_units.json")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the published ISO 4217 table is not beside the checkout")
	}
	require.NoError(t, err)
	var file struct {
		MinorUnits map[string]any `json:"minor_units"`
	}
	require.NoError(t, json.Unmarshal(text, &file))
	require.Greater(t, len(file.MinorUnits), 150)
	return file.MinorUnits
}

func TestFormat(t *testing.T) {
	for _, r := range []struct{ code, in, plain, grouped string }{
		{"GBP", "0", "0.00", "0.00"},
		{"GBP", "12", "12.00", "12.00"},
		{"GBP", "-999.999", "-1000.00", "-1,000.00"},
		{"GBP", "-123.4", "-123.40", "-123.40"},
		{"GBP", "1234567.8", "1234567.80", "1,234,567.80"},
		{"JPY", "1234.5", "1235", "1,235"},
		{"BHD", "1234.5", "1234.500", "1,234.500"},
		{"CLF", "1", "1.0000", "1.0000"},
		{"GBP", "123456789012345678901234567890", "123456789012345678901234567890.00", "123,456,789,012,345,678,901,234,567,890.00"},
	} {
		c := money(r.code)
		require.Equal(t, r.plain, c.Format(dec(r.in)))
		require.Equal(t, r.grouped, c.FormatGrouped(dec(r.in)))
	}
}

func TestMinor(t *testing.T) {
	require.Equal(t, "0.01", money("GBP").Minor().String())
	require.Equal(t, "1", money("JPY").Minor().String())
	require.Equal(t, "0.0001", money("CLF").Minor().String())
}

// A price of as many characters as its rounded form once lost its decimals.
func TestFormatPriceLosesNothing(t *testing.T) {
	gbp, err := unit.ParseCurrency("GBP")
	require.NoError(t, err)
	for given, want := range map[string]string{"9.998": "9.998", "10": "10.00", "1204.5": "1204.50", "0.0083": "0.0083", "9.9983": "9.9983"} {
		d, err := unit.ParseDecimal(given)
		require.NoError(t, err)
		require.Equal(t, want, gbp.FormatPrice(d))
	}
	require.Equal(t, "-1,234,567.891", unit.Grouped("-1234567.891"))
}

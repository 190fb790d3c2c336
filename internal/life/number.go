package life

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Number is a quote's number: a year and a serial number in it, from 1.
type Number struct{ Year, Serial int }

// The largest year and serial number.
const (
	LastYear   = 9999
	LastSerial = 999_999_999
)

// Valid reports whether it is a quote's number.
func (n Number) Valid() bool {
	return n.Year >= 1 && n.Year <= LastYear && n.Serial >= 1 && n.Serial <= LastSerial
}

// String writes it as Q-2027-0001.
func (n Number) String() string { return fmt.Sprintf("Q-%04d-%04d", n.Year, n.Serial) }

// ParseNumber reads what String writes, and nothing else: a quote has one name.
func ParseNumber(text string) (Number, error) {
	parts := regexp.MustCompile(`^Q-(\d{4})-(\d{4,9})$`).FindStringSubmatch(text)
	if parts == nil {
		return Number{}, fmt.Errorf("%w: %q", ErrNumber, text)
	}
	year, _ := strconv.Atoi(parts[1]) // digits only, and few
	serial, _ := strconv.Atoi(parts[2])
	if n := (Number{Year: year, Serial: serial}); n.Valid() && n.String() == text {
		return n, nil
	}
	return Number{}, fmt.Errorf("%w: %q", ErrNumber, text)
}

// Day is a day of the calendar as ISO 8601 writes it, 2027-01-31, so that days compare as
// their texts do. Empty is no day.
type Day string

// Valid reports whether there is such a day.
func (d Day) Valid() bool {
	t, err := time.Parse(time.DateOnly, string(d))
	return err == nil && t.Year() > 0
}

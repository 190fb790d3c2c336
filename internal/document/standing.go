package document

import (
	"fmt"
	"strings"
)

// Standing is what a kept revision of a quote is worth: its number, its state in a word, and
// the last day on which it may be taken, empty where it was never issued.
type Standing struct {
	Revision          int
	State, ValidUntil string
}

// Headed is what stands above the text of a kept quote.
func Headed(number string, s Standing) string {
	line := fmt.Sprintf("Quote %s, revision %d: %s", number, s.Revision, s.State)
	switch {
	case s.State == "issued":
		line += ", may be taken until " + s.ValidUntil
	case s.ValidUntil == "":
		line += ", no offer yet"
	}
	return line + "\n" + strings.Repeat("=", len(line)) + "\n\n"
}

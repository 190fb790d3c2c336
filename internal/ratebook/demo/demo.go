// Package demo holds a complete rate book of a studio that does not exist: Ash &
// Ember Fabrication. Its prices, rates and working times are invented, in the
// order of magnitude of a small British workshop; mixing ratios, paint films and
// catalyst shares follow the sources that stand beside them. It is there to show
// what a rate book looks like, to try the engine with, and to test it on.
package demo

import _ "embed"

//go:embed demo.json
var document string

// Document returns the rate book as the ProtoJSON of mouldwright.v1.RateBook:
// invented figures of an invented studio, and says so in its basis. Each call
// returns bytes of its own.
func Document() []byte { return []byte(document) }

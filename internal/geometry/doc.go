// Package geometry is the handbook chapter on shape: solids, zones, outlines
// and turned profiles go in as lengths, and what a moulding is priced on comes
// out: surface, volume, rim, outline, silhouette and size.
//
// Lengths are metres, areas m2, volumes m3 and angles radians. Every length is
// between [LengthMin] and [LengthMax]; a solid or zone lists all its faults at
// once with Faults, and its Measure and Half may be relied on (finite, never
// negative) only when there are none. Functions of bare numbers check their own
// arguments and return an error instead.
//
// Axes: x is the width, seen left to right from the front; y is the depth, away
// from the viewer; z is the height. A half is the part behind the vertical plane
// y = 0 through the axis: open-backed, so that it lies against a wall.
//
// Sources: "MH" stands for Machinery's Handbook, 31st ed., Industrial Press
// 2020, pp. 89-93 "Volumes of Solids"; its constants are rounded to about four
// figures, the formulas here use the exact ones. "DLMF" is the NIST Digital
// Library of Mathematical Functions, its equation numbers quoted from memory.
// "Elementary" marks school geometry that needs no source.
package geometry

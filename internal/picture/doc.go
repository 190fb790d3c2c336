// Package picture draws a piece from three sides beside a standing person, with
// its sizes, its mould pieces, and the lines along which they part.
//
// The views stand as in third-angle projection: the plan above the
// front, the side seen from the right to the right of it. Where a single row lets
// the piece be drawn larger, the plan stands at the end of the row.
//
// Mould pieces differ by hatching as well as by hue, so that they can be told
// apart without colour vision and on a black-and-white print.
//
// A picture is the same to the byte on every processor: coordinates are rounded to
// 1/256 of a sample before anything is compared, and from there on all is whole
// numbers or arithmetic whose every product is rounded.
package picture

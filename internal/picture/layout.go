package picture

import (
	"fmt"
	"math"
	"strings"
)

// The sheet, in millimetres: A4 across.
const (
	sheetWidth, sheetHeight = 297.0, 210.0

	margin    = 15.0
	gap       = 22.0 // between views; room for a size
	below     = 17.0 // under a view, for a size and the view's name
	between   = 12.0 // from the plan's lower edge to the front's upper one, with the name
	headroom  = 46.0 // from the top to the views
	footroom  = 27.0 // from the bottom to the views, without a legend
	small     = 42.0 // a piece smaller than this beside the person is enlarged
	aside     = 62.0 // the person's height beside an enlarged piece
	legendRow = 7.0

	stature  = 1.75 // m, the person's
	shoulder = 0.56 // m, the person's width
	berth    = 14.0 // mm, of the words under the person
)

// spot is a place on the sheet in mm, y down.
type spot struct{ x, y float64 }

// panel is one view on the sheet.
type panel struct {
	view            View
	corner          spot    // left lower corner of the piece's box
	scale           float64 // mm to a metre
	w, h            float64 // mm
	across, upright bool    // whether its sizes are written
	aside           bool    // stands by the person for comparison, without a name
}

// sheet says where everything stands.
type sheet struct {
	box    span
	panels []panel
	person spot    // amid the feet
	tall   float64 // the person's scale, mm to a metre
	scale  float64 // the views', mm to a metre
	zoom   int     // how much larger the views are than the person
}

// space is what the views may take of the sheet, mm.
type space struct{ w, h float64 }

// lay lays out the sheet under and over rows of legend.
func lay(box span, o Options, rows int) sheet {
	s := sheet{box: box, zoom: 1}
	room := space{sheetWidth - 2*margin, sheetHeight - headroom - footroom - float64(legendRow*float64(rows))}
	beside := func(w, h float64) float64 {
		free := room.w - gap*float64(len(o.Views))
		return min(free/(w+shoulder), (free-berth)/w, (room.h-below)/max(h, stature))
	}
	stacked := min(s.fits(o, room, shoulder, stature), s.fits(o, space{room.w - berth, room.h}, 0, stature))
	s.scale = max(beside(s.rowSize(o)), stacked)
	stack := stacked == s.scale
	s.tall = s.scale
	if float64(box.largest()*s.scale) < small {
		stack = s.enlarge(o, room)
	}
	s.stand(o, room, stack)
	return s
}

// rowSize is the size of all views in a row, m.
func (s *sheet) rowSize(o Options) (w, h float64) {
	for _, v := range o.Views {
		right, up, _, _ := v.axes()
		w, h = w+s.box.size(right), max(h, s.box.size(up))
	}
	return w, h
}

// fits is the scale at which the plan has room above the front, zero where it is not
// so asked; person and height are room in m that something else takes.
func (s *sheet) fits(o Options, room space, person, height float64) float64 {
	if len(o.Views) < 3 {
		return 0
	}
	w := s.box.size(0) + s.box.size(1) + person
	h := max(s.box.size(2), height) + s.box.size(1)
	return min((room.w-2*gap)/w, (room.h-below-between)/h)
}

// enlarge draws a small piece larger than the person by a round factor, and reports
// whether the plan stands above the front.
func (s *sheet) enlarge(o Options, room space) (stack bool) {
	s.tall = min(aside, room.h-below) / stature
	room.w -= s.stall() + float64(s.box.size(0)*s.tall) + gap
	w, h := s.rowSize(o)
	row := min((room.w-float64(gap*float64(len(o.Views)-1)))/w, (room.h-below)/max(h, leastSize))
	stacked := s.fits(o, room, 0, 0)
	s.zoom = roundFactor(max(row, stacked) / s.tall)
	s.scale = float64(s.tall * float64(s.zoom))
	return stacked >= s.scale
}

// roundFactor is the greatest of 1 to 6, 8, 10, 20 to 60, 80... that is not above most.
func roundFactor(most float64) int {
	best := 1
	for ten := 1; float64(ten) <= most && ten < 1e9; ten *= 10 {
		for _, n := range []int{1, 2, 3, 4, 5, 6, 8} {
			if float64(n*ten) <= most {
				best = n * ten
			}
		}
	}
	return best
}

// stand puts the person and the views on the sheet, amid the room.
func (s *sheet) stand(o Options, room space, stack bool) {
	w, h := s.extent(o, stack)
	x := margin + (room.w-w)/2
	ground := headroom + room.h - below - max(0, room.h-below-h)/2
	s.person = spot{x + s.stall()/2, ground}
	x += s.stall()
	if s.zoom > 1 {
		p := s.panel(Front, spot{x + 2, ground}, s.tall)
		p.aside = true
		s.panels = append(s.panels, p)
		x += p.w
	}
	for _, v := range ordered(o) {
		if stack && v == Plan {
			s.panels = append(s.panels, s.over(s.panels[len(s.panels)-2]))
			continue
		}
		p := s.panel(v, spot{x + gap, ground}, s.scale)
		s.panels = append(s.panels, p)
		x += gap + p.w
	}
	s.size()
}

// over is the plan above the front.
func (s *sheet) over(front panel) panel {
	at := spot{front.corner.x, front.corner.y - max(front.h, s.beside()) - between}
	return s.panel(Plan, at, s.scale)
}

// stall is the width that the person takes, with the words below, mm.
func (s *sheet) stall() float64 { return max(float64(shoulder*s.tall), berth) }

// beside is the height that the person takes next to the views, mm.
func (s *sheet) beside() float64 {
	if s.zoom > 1 {
		return 0
	}
	return float64(stature * s.tall)
}

func (s *sheet) panel(v View, corner spot, scale float64) panel {
	right, up, _, _ := v.axes()
	return panel{
		view: v, corner: corner, scale: scale,
		w: float64(s.box.size(right) * scale), h: float64(s.box.size(up) * scale),
	}
}

// extent is the size of person and views on the sheet, without what stands below.
func (s *sheet) extent(o Options, stack bool) (w, h float64) {
	w, h = s.stall(), float64(stature*s.tall)
	if s.zoom > 1 {
		w += float64(s.box.size(0) * s.tall)
	}
	rise := 0.0
	for _, v := range o.Views {
		p := s.panel(v, spot{}, s.scale)
		if stack && v == Plan {
			rise = p.h + between
			continue
		}
		w += p.w + gap
		h = max(h, p.h)
	}
	if stack && s.zoom > 1 {
		return w, max(float64(stature*s.tall), rise+float64(s.box.size(2)*s.scale))
	}
	return w, h + rise
}

// ordered lists the views from left to right.
func ordered(o Options) []View {
	var all []View
	for _, v := range []View{Front, Side, Plan} {
		if o.has(v) {
			all = append(all, v)
		}
	}
	return all
}

// size has each of width, depth and height written once.
func (s *sheet) size() {
	var written [3]bool
	for i := range s.panels {
		p := &s.panels[i]
		if p.aside {
			continue
		}
		right, up, _, _ := p.view.axes()
		p.across, p.upright = !written[right], !written[up]
		written[right], written[up] = true, true
	}
}

// barLength is a round length, in metres, that is 20 to 50 mm long on the sheet.
func (s *sheet) barLength() float64 {
	for length := 1e-7; ; length *= 10 {
		for _, n := range []float64{1, 2, 5} {
			if float64(n*length*s.scale) >= 20 {
				return n * length
			}
		}
	}
}

// length writes a length in mm, as a drawing does: whole from 100 mm, else with as
// many decimals as make sense.
func length(m float64) string {
	mm := m * 1000
	switch {
	case mm >= 99.95 || mm == 0:
		return fmt.Sprintf("%.0f mm", math.Round(mm))
	case mm >= 1:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", mm), ".0") + " mm"
	}
	return fmt.Sprintf("%.3g mm", mm)
}

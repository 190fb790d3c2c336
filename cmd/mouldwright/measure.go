package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/picture"
	"github.com/mouldwright/mouldwright/internal/release"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// mostMesh bounds the mesh files that the command reads, in bytes: more than the
// service takes, since here nobody else waits.
const mostMesh = 1 << 30

// measuring is what the measure command was told.
type measuring struct {
	unit, up, picture  string
	beside, besideUnit string
	scale, layer, thin float64
	width              int
	pulls              pulls
	json, quick        bool
}

func (p *program) measure(args []string) error {
	var m measuring
	f := p.flags("measure FILE [flags]", "Measures a mesh (STL, OBJ, PLY, 3MF, glTF) at a scale and prints a takeoff sheet.")
	f.StringVar(&m.unit, "unit", "", "what one `unit` of the file is: mm, cm, m, in, ft; STL, OBJ and PLY do not say themselves")
	f.StringVar(&m.up, "up", "", "`axis` that points up: x, y, z (default: y for glTF, z for the others)")
	f.Float64Var(&m.scale, "scale", 1, "size of the piece over the size of the model")
	f.Float64Var(&m.layer, "layer", 0, "thickness of the foam's layers in `mm`, at the piece's size (default 100)")
	f.Float64Var(&m.thin, "thin", 1000*maquette.UsualThin, "thickness in `mm` below which a part counts as thin, at the piece's size")
	f.Var(&m.pulls, "pull", "a pull that the mould must have, as `x,y,z`; give it again for another")
	f.StringVar(&m.beside, "beside", "", "tell whether the mesh in this `file` is a copy, the other hand, or different")
	f.StringVar(&m.besideUnit, "beside-unit", "", "what one `unit` of that file is, where --unit is not meant for it")
	f.StringVar(&m.picture, "picture", "", "draw it to this `file`, .png or .svg")
	f.IntVar(&m.width, "width", picture.DefaultWidth, "width of a PNG in `pixels`")
	f.BoolVar(&m.json, "json", false, "print what the REST door answers, in one line")
	f.BoolVar(&m.quick, "quick", false, "area, volume and box of an STL only, read once and not kept")
	files, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(files) != 1 {
		return p.misused(fmt.Sprintf("measure takes one file, got %d; see mouldwright measure --help", len(files)))
	}
	if err := errors.Join(m.faults(f)...); err != nil {
		return p.misused(err.Error())
	}
	if m.quick {
		return p.gauge(files[0], &m)
	}
	return p.takeoff(files[0], &m)
}

// faults is what is wrong with the flags, found before a large file is read for nothing.
// Their bounds are those of the service.
func (m *measuring) faults(f *flag.FlagSet) []error {
	var errs []error
	unless := func(sound bool, format string, args ...any) {
		if !sound {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	unless(m.scale > 0 && m.scale <= 10_000, "--scale: got %g, allowed: above 0, at most 10000", m.scale)
	unless(m.layer == 0 || m.layer > 0 && m.layer <= 2000, "--layer: got %g, allowed: above 0, at most 2000 mm", m.layer)
	unless(m.thin >= 0 && m.thin <= 1000, "--thin: got %g, allowed: 0 to 1000 mm", m.thin)
	unless(m.width >= picture.LeastWidth && m.width <= picture.MostWidth, "--width: got %d, allowed: %d to %d pixels", m.width, picture.LeastWidth, picture.MostWidth)
	unless(m.picture == "" || m.drawing() != nil, "--picture: got %q, allowed: a name that ends in .png or .svg", m.picture)
	unless(m.besideUnit == "" || m.beside != "", "--beside-unit is for the file of --beside; allowed: both or neither")
	unless(!m.json || m.beside == "", "--json prints one answer of the REST door, which has none for --beside; allowed: one of the two")
	if _, err := metresOf("--beside-unit", m.besideUnit); err != nil {
		errs = append(errs, err)
	}
	for _, wrong := range maquette.PullFaults(m.pulls) {
		unless(false, "--pull: %s: %s", wrong.Path, wrong.Message)
	}
	if m.quick {
		f.Visit(func(g *flag.Flag) {
			unless(slices.Contains([]string{"quick", "unit", "scale"}, g.Name), "--%s is not for --quick, which gives area, volume and box alone; allowed with it: --unit, --scale", g.Name)
		})
	}
	return errs
}

func (p *program) takeoff(name string, m *measuring) error {
	item, err := p.studied(name, m.flagged(name), m.up)
	if err != nil {
		return err
	}
	ask := item.Model.Usual(m.scale)
	ask.ThinLimit, ask.Pulls = m.thin/1000, m.pulls
	if m.layer != 0 {
		ask.Layer = m.layer / 1000
	}
	sheet, err := item.Model.At(ask)
	if err != nil {
		return fmt.Errorf("--layer: %w", err)
	}
	if err := p.printSheet(filepath.Base(name), &sheet, m.json); err != nil {
		return err
	}
	if m.beside != "" {
		if err := p.compare(item, m); err != nil {
			return err
		}
	}
	if m.picture != "" {
		return draw(m, item.Model.Scene(filepath.Base(name), ask))
	}
	return nil
}

func (p *program) printSheet(title string, sheet *maquette.Sheet, asJSON bool) error {
	if !asJSON {
		return document.MeshSheet(p.stdout, title, sheet)
	}
	doc, err := wire.Encode(&mouldwrightv1.MeasureMeshResponse{Takeoff: wire.MeshTakeoff(sheet)})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s\n", doc)
	return err
}

func (p *program) compare(item *shelf.Item, m *measuring) error {
	other, err := p.studied(m.beside, m.besideFlagged(item.Reading.FileName), "") // however it is turned
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "\nBeside %s: %s\n", filepath.Base(m.beside), maquette.Compare(item.Model, other.Model))
	return err
}

// flagged is a unit with the flag that it was given by.
type flagged struct{ flag, unit string }

// flagged is the unit of the file that is measured. Of two files of which only one carries
// a unit, --unit is for the other.
func (m *measuring) flagged(name string) flagged {
	if m.beside != "" && !shelf.Unitless(name) && shelf.Unitless(m.beside) && m.besideUnit == "" {
		return flagged{"--unit", ""}
	}
	return flagged{"--unit", m.unit}
}

// besideFlagged is the unit of the file beside the one of a name.
func (m *measuring) besideFlagged(name string) flagged {
	switch {
	case m.besideUnit != "":
		return flagged{"--beside-unit", m.besideUnit}
	case shelf.Unitless(name) && !shelf.Unitless(m.beside):
		return flagged{"--beside-unit", ""}
	default:
		return flagged{"--unit", m.unit}
	}
}

// studied reads a mesh file and studies its model.
func (p *program) studied(name string, of flagged, up string) (*shelf.Item, error) {
	reading, err := reading(name, of, up)
	if err != nil {
		return nil, p.misused(err.Error())
	}
	file, size, err := openMesh(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }() // read only: nothing can be lost
	item := &shelf.Item{Reading: reading}
	return item, inFile(name, of, item.StudyFrom(file, size))
}

// openMesh opens a mesh file and returns its size in bytes.
func openMesh(name string) (*os.File, int64, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, 0, err
	}
	info, err := file.Stat()
	switch {
	case err != nil:
	case !info.Mode().IsRegular():
		err = fmt.Errorf("%s: not a file that can be measured", name)
	case info.Size() > mostMesh:
		err = fmt.Errorf("%s: %d bytes, allowed: at most %d", name, info.Size(), int64(mostMesh))
	}
	if err != nil {
		return nil, 0, errors.Join(err, file.Close())
	}
	return file, info.Size(), nil
}

// inFile names the file in a fault of it, and the flag where that is of its unit.
func inFile(name string, of flagged, err error) error {
	var bad *meshfile.Fault
	switch {
	case err == nil:
		return nil
	case errors.As(err, &bad) && bad.Code == meshfile.Unit:
		return fmt.Errorf("%s: %w", name, unitNamed(of, err))
	case errors.As(err, &bad):
		return fmt.Errorf("%s: %s: %w", name, bad.Code, err)
	default:
		return fmt.Errorf("%s: %w", name, err)
	}
}

// unitNamed is a fault of a file, and where that is of its unit, with the flag that
// gives one.
func unitNamed(of flagged, err error) error {
	var bad *meshfile.Fault
	switch {
	case !errors.As(err, &bad) || bad.Code != meshfile.Unit:
		return err
	case of.unit != "":
		return fmt.Errorf("%w; allowed as %s: the file's own unit, or none", err, of.flag)
	default:
		return fmt.Errorf("%w; allowed as %s: %s", err, of.flag, strings.Join(units(), ", "))
	}
}

func units() []string {
	var names []string
	for _, u := range shelf.Units() {
		names = append(names, u.Short)
	}
	return names
}

// metresOf is the length of a unit that a flag gave, in m; 0 where it gave none.
func metresOf(flag, unit string) (float64, error) {
	at := slices.Index(units(), unit)
	switch {
	case at >= 0:
		return shelf.Units()[at].Metres, nil
	case unit == "":
		return 0, nil
	default:
		return 0, fmt.Errorf("%s: got %q, allowed: %s", flag, unit, strings.Join(units(), ", "))
	}
}

func reading(name string, of flagged, up string) (shelf.Reading, error) {
	r := shelf.Reading{FileName: filepath.Base(name)}
	var err error
	if r.Unit, err = metresOf(of.flag, of.unit); err != nil {
		return r, err
	}
	axis := slices.Index(shelf.Axes(), up)
	if up != "" && axis < 0 {
		return r, fmt.Errorf("--up: got %q, allowed: %s", up, strings.Join(shelf.Axes(), ", "))
	}
	r.Up = shelf.Up(axis + 1)
	return r, nil
}

// gauge reads a file once and keeps nothing of it: files too large to study.
func (p *program) gauge(name string, m *measuring) error {
	of := flagged{"--unit", m.unit}
	reading, err := reading(name, of, "")
	if err != nil {
		return p.misused(err.Error())
	}
	file, size, err := openMesh(name)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // read only: nothing can be lost
	sum, err := meshfile.Gauge(file, size, meshfile.Options{Name: reading.FileName, Unit: reading.Unit})
	if err != nil {
		return inFile(name, of, err)
	}
	return document.GaugeSheet(p.stdout, filepath.Base(name), sum, m.scale)
}

// drawing is how the picture is drawn, by the name of its file; nil where that says
// neither way.
func (m *measuring) drawing() func(io.Writer, picture.Scene, picture.Options) error {
	switch strings.ToLower(filepath.Ext(m.picture)) {
	case ".png":
		return picture.PNG
	case ".svg":
		return picture.SVG
	default:
		return nil
	}
}

// draw writes a picture, whole or not at all.
func draw(m *measuring, scene picture.Scene) error {
	out, err := os.CreateTemp(filepath.Dir(m.picture), ".picture-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(out.Name()) }() // gone already where all went well
	if err := errors.Join(m.drawing()(out, scene, picture.Options{Width: m.width}), out.Chmod(0o644), out.Close()); err != nil {
		return err
	}
	return os.Rename(out.Name(), m.picture)
}

// pulls are directions given as x,y,z.
type pulls []release.Direction

// String is for the flag's default.
func (p *pulls) String() string { return "" }

// Set takes one direction.
func (p *pulls) Set(s string) error {
	parts := strings.Split(s, ",")
	if len(parts) != 3 {
		return errPull
	}
	var d release.Direction
	for i, part := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil {
			return errPull
		}
		d[i] = v
	}
	*p = append(*p, d)
	return nil
}

var errPull = errors.New("allowed: three numbers x,y,z such as 0,-1,0")

package main

import (
	"errors"
	"fmt"
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
	unit, up, picture, beside string
	scale, layer, thin        float64
	width                     int
	pulls                     pulls
	json, quick               bool
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
	if !(m.scale > 0 && m.scale <= 10_000) {
		return p.misused(fmt.Sprintf("--scale: got %g, allowed: above 0, at most 10000", m.scale))
	}
	if m.quick {
		return p.gauge(files[0], &m)
	}
	return p.takeoff(files[0], &m)
}

func (p *program) takeoff(name string, m *measuring) error {
	item, err := p.studied(name, m)
	if err != nil {
		return err
	}
	ask := item.Model.Usual(m.scale)
	ask.ThinLimit, ask.Pulls = m.thin/1000, m.pulls
	if m.layer != 0 {
		ask.Layer = m.layer / 1000
	}
	if err := maquette.PullFaults(ask.Pulls).Err(); err != nil {
		return fmt.Errorf("--pull: %w", err)
	}
	sheet, err := item.Model.At(ask)
	if err != nil {
		return err
	}
	if err := p.printSheet(filepath.Base(name), item, &sheet, m.json); err != nil {
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

func (p *program) printSheet(title string, item *shelf.Item, sheet *maquette.Sheet, asJSON bool) error {
	if !asJSON {
		return document.MeshSheet(p.stdout, title, sheet, item.Warnings)
	}
	doc, err := wire.Encode(&mouldwrightv1.MeasureMeshResponse{Takeoff: wire.MeshTakeoff(sheet, item.Warnings)})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s\n", doc)
	return err
}

func (p *program) compare(item *shelf.Item, m *measuring) error {
	other, err := p.studied(m.beside, m)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "\nBeside %s: %s\n", filepath.Base(m.beside), maquette.Compare(item.Model, other.Model))
	return err
}

// studied reads a mesh file and studies its model.
func (p *program) studied(name string, m *measuring) (*shelf.Item, error) {
	reading, err := m.reading(name)
	if err != nil {
		return nil, p.misused(err.Error())
	}
	file, size, err := openMesh(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }() // read only: nothing can be lost
	item := &shelf.Item{Reading: reading}
	return item, inFile(name, item.StudyFrom(file, size))
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

// inFile names the file in a fault of it.
func inFile(name string, err error) error {
	var bad *meshfile.Fault
	switch {
	case err == nil:
		return nil
	case errors.As(err, &bad):
		return fmt.Errorf("%s: %s: %w", name, bad.Code, err)
	default:
		return fmt.Errorf("%s: %w", name, err)
	}
}

func (m *measuring) reading(name string) (shelf.Reading, error) {
	r := shelf.Reading{FileName: filepath.Base(name)}
	allowed := make([]string, 0, len(shelf.Units()))
	for _, u := range shelf.Units() {
		allowed = append(allowed, u.Short)
		if m.unit == u.Short {
			r.Unit = u.Metres
		}
	}
	if m.unit != "" && r.Unit == 0 {
		return r, fmt.Errorf("--unit: got %q, allowed: %s", m.unit, strings.Join(allowed, ", "))
	}
	axis := slices.Index(shelf.Axes(), m.up)
	if m.up != "" && axis < 0 {
		return r, fmt.Errorf("--up: got %q, allowed: %s", m.up, strings.Join(shelf.Axes(), ", "))
	}
	r.Up = shelf.Up(axis + 1)
	return r, nil
}

// gauge reads a file once and keeps nothing of it: files too large to study.
func (p *program) gauge(name string, m *measuring) error {
	reading, err := m.reading(name)
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
		return inFile(name, err)
	}
	return document.GaugeSheet(p.stdout, filepath.Base(name), sum, m.scale)
}

// draw writes a picture, whole or not at all.
func draw(m *measuring, scene picture.Scene) error {
	write := picture.PNG
	switch strings.ToLower(filepath.Ext(m.picture)) {
	case ".png":
	case ".svg":
		write = picture.SVG
	default:
		return fmt.Errorf("--picture: got %q, allowed: a name that ends in .png or .svg", m.picture)
	}
	out, err := os.CreateTemp(filepath.Dir(m.picture), ".picture-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(out.Name()) }() // gone already where all went well
	if err := errors.Join(write(out, scene, picture.Options{Width: m.width}), out.Chmod(0o644), out.Close()); err != nil {
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

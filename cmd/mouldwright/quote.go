package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// Largest files that are read, in bytes.
const (
	mostBrief    = 1 << 20
	mostRateBook = 16 << 20
)

func (p *program) quote(args []string) error {
	f := p.flags("quote FILE [flags]", "Prices the brief in FILE (- for standard input) and prints the itemised quote.")
	rateBook := f.String("rate-book", "", "price by the rate book in this `file` instead of the demo's")
	asJSON := f.Bool("json", false, "print what the REST door answers, in one line")
	workings := f.Bool("workings", false, "print every operation, cost and purchase too; with --json, answer with them")
	meshes := f.String("meshes", "", "`folder` of the mesh files that the brief names: meshes/hare is hare.glb or another format there (default: the brief's own folder, then the folder meshes beside it)")
	unit := f.String("unit", "", "what one `unit` of those files is: mm, cm, m, in, ft; STL, OBJ and PLY do not say themselves")
	client := f.Bool("client", false, "leave out what is the studio's own: costs, hours, margin")
	files, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(files) != 1 {
		return p.misused(fmt.Sprintf("quote takes one file, got %d; see mouldwright quote --help", len(files)))
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return err
	}
	book, err := openBook(*rateBook, rules)
	if err != nil {
		return err
	}
	folder, err := p.meshes(files[0], *meshes, *unit)
	if err != nil {
		return err
	}
	book.Meshes = func(name string) (*maquette.Maquette, string, error) {
		model, sum, err := folder.Model(name)
		return model, sum, unitNamed(flagged{"--unit", *unit}, err)
	}
	pb, err := readBrief(files[0], book, rules)
	if err != nil {
		return err
	}
	if *client && *workings {
		return p.misused("quote: --client leaves out what --workings adds; give one of the two")
	}
	q, err := book.Price(pb)
	switch {
	case err != nil:
		return explained(err)
	case *asJSON:
		return p.writeJSON(q, *workings)
	case *client:
		return document.ClientText(p.stdout, q)
	default:
		return document.Text(p.stdout, q, *workings)
	}
}

// meshes looks for the meshes of a brief in files.
func (p *program) meshes(file, dir, unit string) (*shelf.Folder, error) {
	metres, err := metresOf("--unit", unit)
	if err != nil {
		return nil, p.misused("quote: " + err.Error())
	}
	dirs := []string{filepath.Dir(file), filepath.Join(filepath.Dir(file), "..", "meshes")}
	if dir != "" {
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			return nil, p.misused(fmt.Sprintf("quote: --meshes: got %q, allowed: a folder that is there", dir))
		}
		dirs = []string{dir}
	}
	folder := &shelf.Folder{Where: places(dirs), Unit: metres, Most: mostMesh}
	for _, d := range dirs {
		folder.Dirs = append(folder.Dirs, os.DirFS(d))
	}
	return folder, nil
}

// places names folders in full, where that is known.
func places(dirs []string) string {
	names := make([]string, len(dirs))
	for i, d := range dirs {
		names[i] = d
		if full, err := filepath.Abs(d); err == nil {
			names[i] = full
		}
	}
	return strings.Join(names, ", ")
}

func (p *program) writeJSON(q *quote.Quote, workings bool) error {
	doc, err := wire.Encode(&mouldwrightv1.PreviewQuoteResponse{Quote: wire.Quote(q, workings)})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s\n", doc)
	return err
}

func readBrief(file string, book *desk.Book, rules *wire.Validator) (*mouldwrightv1.Brief, error) {
	doc, err := readFile(file, mostBrief)
	if err != nil {
		return nil, err
	}
	pb, err := book.ReadBrief(doc, rules)
	if err != nil {
		return nil, explained(err)
	}
	return pb, nil
}

// explained puts a brief's faults under a sentence that says what they are.
func explained(err error) error {
	var faults fault.List
	var later estimate.LaterError
	switch {
	case errors.As(err, &faults):
		return fmt.Errorf("the brief has faults:\n%w", faults)
	case errors.As(err, &later):
		return fmt.Errorf("the brief asks for what is not reckoned yet:\n%w", later)
	default:
		return err
	}
}

func openBook(file string, rules *wire.Validator) (*desk.Book, error) {
	doc := demo.Document()
	if file != "" {
		var err error
		if doc, err = readFile(file, mostRateBook); err != nil {
			return nil, err
		}
	}
	book, faults := desk.OpenBook(doc, rules)
	if err := faults.Err(); err != nil {
		return nil, fmt.Errorf("the rate book has faults:\n%w", err)
	}
	return book, nil
}

// readFile reads a file of bounded size; - is standard input.
func readFile(name string, most int64) ([]byte, error) {
	in := os.Stdin
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer func() { _ = file.Close() }() // read only: nothing can be lost
		in = file
	}
	doc, err := io.ReadAll(io.LimitReader(in, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(doc)) > most {
		return nil, fmt.Errorf("%s is larger than the %d bytes that are read", name, most)
	}
	return doc, nil
}

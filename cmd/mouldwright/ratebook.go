package main

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func (p *program) ratebook(args []string) error {
	f := p.flags("ratebook check FILE | ratebook export", "check finds every fault of the rate book in FILE; export prints the demo rate book.")
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	switch {
	case len(words) == 2 && words[0] == "check":
		return p.checkRateBook(words[1])
	case len(words) == 1 && words[0] == "export":
		_, err := p.stdout.Write(demo.Document())
		return err
	default:
		return p.misused("ratebook takes check FILE or export; see mouldwright ratebook --help")
	}
}

func (p *program) checkRateBook(file string) error {
	doc, err := readFile(file, mostRateBook)
	if err != nil {
		return err
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return err
	}
	book, faults := desk.OpenBook(doc, rules)
	if err := faults.Err(); err != nil {
		return fmt.Errorf("%s has faults:\n%w", file, err)
	}
	e := book.Edition
	fmt.Fprintf(p.stdout, "%s, revision %s: no faults; %d materials, %d operations, %d finishes, %d laminates\n",
		e.Studio, e.Revision, len(e.Materials), len(e.Operations), len(e.Finishes), len(e.Laminates))
	return nil
}

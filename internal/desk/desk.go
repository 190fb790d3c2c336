// Package desk is where a brief that came over a wire meets a rate book: it is
// read, checked, priced and fingerprinted here, and nowhere else, so that every
// door gives the same price and names the same faults.
package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// Book is one revision of a rate book, opened. It never changes.
type Book struct {
	// Edition is what quotes are reckoned by.
	Edition *ratebook.Edition
	// Document is the revision as it was written.
	Document *mouldwrightv1.RateBook
	// Meshes finds the meshes that briefs refer to; nil where there are none. It is
	// set before the book is used.
	Meshes brief.Meshes
	// Sum is the SHA-256 of the document as this service writes it, in hexadecimal.
	Sum string
}

// OpenBook reads a rate book's JSON document and opens it, or returns
// everything wrong with the document, in its own order.
func OpenBook(doc []byte, rules *wire.Validator) (*Book, fault.List) {
	pb := &mouldwrightv1.RateBook{}
	form := wire.Decode(doc, pb)
	if wire.Unreadable(form) {
		return nil, form
	}
	edition, faults := CheckBook(pb, form, rules)
	if len(faults) > 0 {
		return nil, faults
	}
	canonical, err := wire.Encode(pb)
	if err != nil {
		return nil, fault.List{{Message: "it cannot be written out: " + err.Error()}}
	}
	sum := sha256.Sum256(canonical)
	return &Book{Edition: edition, Document: pb, Sum: hex.EncodeToString(sum[:])}, nil
}

// CheckBook opens a rate book of which form is known to be wrong already, or
// returns everything wrong with it: its form, what breaks the contract's rules,
// and what it says, one fault for each path in the document's order.
func CheckBook(pb *mouldwrightv1.RateBook, form fault.List, rules *wire.Validator) (*ratebook.Edition, fault.List) {
	book, untranslated := wire.RateBook(pb)
	edition, inconsistent := ratebook.Open(book)
	faults := wire.InOrder(pb.ProtoReflect().Descriptor(), form, rules.Check(pb), untranslated, inconsistent)
	if len(faults) > 0 {
		return nil, faults
	}
	return edition, nil
}

// ReadBrief reads a brief's JSON document. Its error is a fault.List with
// everything wrong with the brief, in the document's order.
func (b *Book) ReadBrief(doc []byte, rules *wire.Validator) (*mouldwrightv1.Brief, error) {
	pb := &mouldwrightv1.Brief{}
	form := wire.Decode(doc, pb)
	if wire.Unreadable(form) {
		return nil, form
	}
	limits := rules.Check(pb)
	if len(form)+len(limits) == 0 {
		return pb, nil // what it says is looked at when it is priced
	}
	return nil, wire.InOrder(pb.ProtoReflect().Descriptor(), form, limits, b.Meaning(pb))
}

// Meaning returns what is wrong with a brief besides its form and the limits of
// its fields: what contradicts itself, is not in the rate book, or is not
// reckoned yet. It looks at briefs that will not be priced; pricing finds the
// same.
func (b *Book) Meaning(pb *mouldwrightv1.Brief) fault.List {
	of, faults := wire.Brief(pb)
	of.Fit(b.Meshes)
	faults = append(faults, of.Check(b.Edition)...)
	return append(faults, of.Later()...)
}

// Brief translates a brief. Its error is a fault.List with what has no
// translation and all else that is wrong with it.
func (b *Book) Brief(pb *mouldwrightv1.Brief) (*brief.Brief, error) {
	of, faults := wire.Brief(pb)
	if len(faults) > 0 {
		return nil, wire.InOrder(pb.ProtoReflect().Descriptor(), b.Meaning(pb))
	}
	of.Fit(b.Meshes)
	of.Force()
	return of, nil
}

// Price prices a brief. Its error is what estimate.Price's is.
func (b *Book) Price(pb *mouldwrightv1.Brief) (*quote.Quote, error) {
	of, err := b.Brief(pb)
	if err != nil {
		return nil, err
	}
	q, err := estimate.Price(of, b.Edition)
	if err != nil {
		return nil, ordered(pb, err)
	}
	if q.Fingerprint, err = wire.Fingerprint(pb, b.Sum, estimate.Engine, of.MeshSums()...); err != nil {
		return nil, fmt.Errorf("fingerprinting the brief: %w", err)
	}
	return q, nil
}

// ordered puts the faults of a brief in the order of its document.
func ordered(pb *mouldwrightv1.Brief, err error) error {
	var faults fault.List
	if errors.As(err, &faults) {
		return wire.InOrder(pb.ProtoReflect().Descriptor(), faults)
	}
	return err
}

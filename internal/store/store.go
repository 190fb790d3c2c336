// Package store says what is kept and what may be relied on: quotes with their revisions
// and histories, the numbers they take, rate book revisions, and the requests that were
// answered. Its subpackages keep it in SQLite, in PostgreSQL and in memory; storetest holds
// all of them to the same behaviour.
package store

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"slices"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
)

// Errors of every store. Each wraps its cause, where it has one.
var (
	// ErrNotFound says that there is no such thing, or none that those eyes may see.
	ErrNotFound = errors.New("not found")
	// ErrStale says that the quote has changed since the etag was read.
	ErrStale = errors.New("it has changed meanwhile")
	// ErrTaken says that something is kept under the name already.
	ErrTaken = errors.New("the name is taken")
	// ErrInFlight says that the request is being worked on, or was taken over.
	ErrInFlight = errors.New("the request is being worked on")
	// ErrOtherBody says that the request id came before with another body.
	ErrOtherBody = errors.New("the request id was used for another request")
	// ErrNoRoom says that the owner has as many meshes, or as large ones, as may be.
	ErrNoRoom = errors.New("there is no room for another mesh")
	// ErrUnavailable says that the database is away, full or read-only. What was being written
	// is not kept, except where the connection broke while it was being
	// acknowledged: then nobody knows, and a request id tells.
	ErrUnavailable = errors.New("the database is not available")
	// ErrDamaged says that what was kept reads otherwise than it was written: a sum or a history
	// does not match, or the database says that its files are not sound. It reads so again.
	ErrDamaged = errors.New("what was kept is damaged")
	// ErrUnfit says that a key is empty, too long, or not a line of text.
	ErrUnfit = errors.New("not fit to be kept")
)

// Store keeps things. It may be used by several callers at once.
type Store interface {
	// Update runs a function whose writes are kept all together, or not at all where it
	// returns an error. It may run the function again, so the function changes nothing
	// outside that it does not set anew. It is not called within another.
	Update(ctx context.Context, do func(Tx) error) error
	// View runs a function whose reads all see the same moment.
	View(ctx context.Context, do func(Reader) error) error
	// Close ends the use of the store; whatever comes after is ErrUnavailable.
	Close() error
}

// Reader reads. Another owner's things are ErrNotFound, as things are that there are not.
type Reader interface {
	// Quote returns a quote with its whole history.
	Quote(number life.Number, eyes Eyes) (Quote, error)
	// Content returns what a revision of a quote holds, but for the summary: that is for lists.
	Content(number life.Number, revision int, eyes Eyes) (Content, error)
	// Quotes lists at most limit quotes, the highest number first, from below the number
	// after on; from the highest where that is zero.
	Quotes(by Filter, after life.Number, limit int, eyes Eyes) ([]Head, error)
	// RateBook returns a revision of the rate book, which is the studio's.
	RateBook(revision string, eyes Eyes) (RateBook, error)
	// RateBooks lists at most limit revisions without their documents, the newest first and
	// those of one moment from the last name to the first, from beyond after on; from the
	// newest where that is zero.
	RateBooks(after RateBook, limit int, eyes Eyes) ([]RateBook, error)
	// MeshHead returns a mesh without its file.
	MeshHead(owner, name string, eyes Eyes) (Mesh, error)
	// Meshes lists at most limit meshes of an owner by name, without their files, from beyond
	// after on.
	Meshes(owner, after string, limit int, eyes Eyes) ([]Mesh, error)
	// MeshOf returns a file by its Sum: what a revision was priced with, whoever dropped its
	// name since. What belongs to a name is left empty: Owner, Name, Room and At; Reading is that
	// of whoever kept the file first. It asks for no eyes: whoever has seen the revision may see it.
	MeshOf(sum string) (Mesh, error)
	// Partner returns a partner, which sees itself.
	Partner(id string, eyes Eyes) (Partner, error)
	// Partners lists at most limit partners by id, from beyond after on. A partner's eyes see
	// only the partner itself.
	Partners(after string, limit int, eyes Eyes) ([]Partner, error)
	// Key returns a key. It asks for no eyes: it is for whoever lets callers in, who have none yet.
	Key(id string) (Key, error)
	// Keys lists at most limit keys by id without their digests, from beyond after on: those
	// of one owner, or everybody's where owner is nil. A partner's eyes see its own.
	Keys(owner *string, after string, limit int, eyes Eyes) ([]Key, error)
	// Enquiry returns an enquiry, which is the studio's to see.
	Enquiry(id string, eyes Eyes) (Enquiry, error)
	// Enquiries lists at most limit enquiries, the newest first and those of one moment from
	// the last id to the first, from beyond after on; from the newest where that is zero.
	Enquiries(after Enquiry, limit int, eyes Eyes) ([]Enquiry, error)
	// Answered returns the answer of a request that came before. One that never came, or was
	// forgotten, is ErrNotFound, one that was claimed and is not answered yet ErrInFlight, and one that
	// came with another body ErrOtherBody. What is answered stays so, as long as it is kept.
	Answered(request Request) (Claim, error)
	// Actuals lists at most limit notes of what a quote's work took, by step, from beyond
	// after on. They are the studio's to see.
	Actuals(number life.Number, after, limit int, eyes Eyes) ([]Actual, error)
}

// Tx reads and writes. A write that fails dooms the Update it is in.
type Tx interface {
	Reader
	// Create keeps a new quote, a draft, under the next number of the year. Owner is empty
	// for the studio, else a partner. A rate book revision or mesh that is not kept is ErrNotFound.
	Create(owner string, year int, content Content, mark life.Mark) (Quote, error)
	// Change makes a change of the quote's life, or gives life's reason why not. The etag is
	// the one that was read, or empty where any will do. Content counts where a draft is written.
	Change(number life.Number, etag string, eyes Eyes, change life.Change, content Content, mark life.Mark) (Quote, error)
	// AddRateBook keeps a revision of the rate book for good. Its Sum is worked out.
	AddRateBook(book RateBook) (RateBook, error)
	// Begin claims a request at a time, or returns the answer that was kept. A claim without
	// an answer is ErrInFlight until it is as old as patience; then it is taken over.
	Begin(request Request, at time.Time, patience time.Duration) (Claim, error)
	// Finish keeps the answer of a claim. One that was taken over meanwhile is ErrInFlight,
	// so that what was written beside it is not kept twice.
	Finish(claim Claim, answer []byte) error
	// ForgetRequests forgets requests that were claimed last before a time, answered or not,
	// and says how many.
	ForgetRequests(before time.Time) (count int, err error)
	// AddPartner keeps a new partner as version 1. An id that is kept is ErrTaken.
	AddPartner(p Partner) (Partner, error)
	// ChangePartner replaces what is kept of a partner but for when it was added, and counts
	// its version up. The version is the one that was read, or 0 where any will do; where it
	// is another by now, the change is ErrStale.
	ChangePartner(p Partner, version int) (Partner, error)
	// AddKey keeps a key for good. An owner that is not kept is ErrNotFound, an id that is
	// kept ErrTaken.
	AddKey(k Key) (Key, error)
	// RevokeKey ends the use of a key. One that was revoked before stays as it was.
	RevokeKey(id string, at time.Time, eyes Eyes) (Key, error)
	// UseKey notes when a key was last used. A time before the one that is noted, and a key
	// that there is not, change nothing.
	UseKey(id string, at time.Time) error
	// KeepMesh keeps a mesh and returns what is kept, without the file. FileSum and Size are
	// worked out. What its owner keeps under the name already stays, where it is the same;
	// where it is another, that is ErrTaken. The owner has at most so many meshes, and
	// so much room for them, else it is ErrNoRoom. The same file is kept once, whoever names it.
	KeepMesh(m Mesh, most, room int) (Mesh, error)
	// DropMesh forgets a name. The file goes with its last name, unless a revision was priced with it.
	DropMesh(owner, name string, eyes Eyes) error
	// AddEnquiry keeps an enquiry. An id that is kept is ErrTaken.
	AddEnquiry(e Enquiry) error
	// ForgetEnquiry forgets an enquiry.
	ForgetEnquiry(id string, eyes Eyes) error
	// ForgetEnquiries forgets those whose last day is before a day, and says how many.
	ForgetEnquiries(before life.Day) (count int, err error)
	// AddActual notes for good what a quote's work took.
	AddActual(number life.Number, document []byte, mark life.Mark, eyes Eyes) (Actual, error)
}

// Eyes are whose eyes something is read with. The zero value sees nothing.
type Eyes struct {
	all   bool
	owner string
}

// Studio sees all.
func Studio() Eyes { return Eyes{all: true} }

// EyesOf a partner see what the partner owns.
func EyesOf(id string) Eyes { return Eyes{owner: id} }

// Sees reports whether an owner's things are seen.
func (e Eyes) Sees(owner string) bool { return e.all || owner != "" && owner == e.owner }

// Owner returns the only owner whose things are seen; all says that everyone's are.
func (e Eyes) Owner() (owner string, all bool) { return e.owner, e.all }

// Quote is a quote as it is kept.
type Quote struct {
	life.Quote
	Owner string // empty for the studio, else a partner
}

// Head is a quote in a list.
type Head struct {
	Number     life.Number
	Owner      string
	State      life.State
	ValidUntil life.Day // the last valid day of its offer; empty where there is none
	Etag       string
	At         time.Time // when it was created, UTC, to the microsecond
	Revisions  int       // how many it has
	Summary    Summary   // of its offer, in whatever state that is; of its draft where there is no offer
}

// Filter picks quotes. The zero value picks all.
type Filter struct {
	State     life.State // empty for any
	On        life.Day   // the day of which State is meant, as of which an offer may have lapsed; empty for as recorded
	Owner     *string    // nil for any
	Year      int        // 0 for any
	Reference *string    // exactly this one in the Head's summary; nil for any
	LapsedBy  life.Day   // offers that are recorded as issued and may no longer be taken on this day; empty for any
}

// Content is what a revision holds. Empty bytes and none are the same.
type Content struct {
	Brief       []byte    // JSON
	RateBook    string    // the revision that it was priced by
	Engine      int       // the edition of the engine that priced it
	Fingerprint string    // of brief, rate book and engine
	Document    []byte    // the priced quote
	Meshes      []MeshRef // by name, each once
	Summary     Summary   // for lists; nothing is reckoned from it, and Sum leaves it out
}

// MeshRef is a mesh that a brief names, with the Sum of what it was then.
type MeshRef struct{ Name, Sum string }

// Summary is what a list shows of a quote: what its document says, in the caller's words.
type Summary struct {
	Title, Client, Reference string
	Currency, Net            string // ISO 4217 code and decimal amount
}

// Sum names the content: the SHA-256 of its parts, each after its length, in hexadecimal.
// Meshes count in the order of their names.
func (c Content) Sum() string {
	sum := sha256.New()
	part := func(b []byte) {
		sum.Write(binary.BigEndian.AppendUint64(nil, uint64(len(b))))
		sum.Write(b)
	}
	part(c.Brief)
	part([]byte(c.RateBook))
	part(binary.BigEndian.AppendUint64(nil, uint64(c.Engine)))
	part([]byte(c.Fingerprint))
	part(c.Document)
	byName := func(a, b MeshRef) int { return cmp.Compare(a.Name, b.Name) }
	for _, m := range slices.SortedFunc(slices.Values(c.Meshes), byName) {
		part([]byte(m.Name))
		part([]byte(m.Sum))
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// RateBook is a revision of the studio's rate book.
type RateBook struct {
	Revision string // its name
	Document []byte
	Sum      string    // SHA-256 of the document in hexadecimal
	At       time.Time // when it was added, UTC, to the microsecond
}

// Partner is an agency that orders on terms of its own.
type Partner struct {
	ID      string // its name in resource names, and as an owner
	Title   string
	Terms   []byte    // JSON
	Closed  bool      // its keys open nothing any more
	Version int       // from 1; goes up with every change
	At      time.Time // when it was added, UTC, to the microsecond
}

// Key is what is kept of an access key: enough to know it again, and not to make it. Its times
// are UTC, to the microsecond.
type Key struct {
	ID      string
	Owner   string // empty for the studio, else a partner
	Title   string
	Scopes  []string          // words without spaces, in the order that they were given
	Digest  [sha256.Size]byte // of its secret
	Made    time.Time
	Expires time.Time // zero for never
	Revoked time.Time // zero for not
	Used    time.Time // the last time that was noted; zero for never
}

// Mesh is a mesh file that is kept under a name of its owner's.
type Mesh struct {
	Owner   string // empty for the studio, else a partner
	Name    string
	Sum     string // names the file and all that its measures depend on besides
	FileSum string // SHA-256 of the file
	Format  string
	Reading []byte    // JSON: how the file is read, in the words of whoever gave the name
	Size    int       // bytes of the file
	Room    int       // bytes that it takes of its owner's room
	File    []byte    // left out in lists
	At      time.Time // when it was first kept under the name, UTC, to the microsecond
}

// Enquiry is what a visitor asked for.
type Enquiry struct {
	ID       string
	At       time.Time // when it came, UTC, to the microsecond
	Until    life.Day  // the last day that it may be kept
	Document []byte    // JSON
}

// Actual is a note of what a quote's work really took.
type Actual struct {
	Step     int // from 1, in the order that they came
	By       life.Actor
	At       time.Time // UTC, to the microsecond
	Document []byte    // JSON
}

// Request is a write that its caller may send again.
type Request struct {
	Caller string            // who asks; ids of different callers are apart
	ID     string            // the caller's own name for the request
	Body   [sha256.Size]byte // the SHA-256 of what is asked
}

// Claim is the right to answer a request, or the answer.
type Claim struct {
	Request Request
	Attempt int    // counts how often the request was claimed
	Done    bool   // it was answered before
	Answer  []byte // of a request that was answered
}

// Moment is a time as every store keeps it: UTC, to the microsecond.
func Moment(t time.Time) time.Time { return time.UnixMicro(t.UnixMicro()).UTC() }

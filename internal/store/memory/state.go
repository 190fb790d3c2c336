package memory

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// state is all that is kept at a moment. It is a value: a change to a copy leaves it as it was.
type state struct {
	rateBooks table[string, store.RateBook]
	quotes    table[life.Number, quote]
	requests  table[requestName, request]
	partners  table[string, store.Partner]
	keys      table[string, store.Key]
	meshes    table[meshName, mesh]
	files     table[string, store.Mesh] // by the sum; without what belongs to a name
	enquiries table[string, store.Enquiry]
}

func empty() *state {
	return &state{
		rateBooks: table[string, store.RateBook]{order: strings.Compare},
		quotes:    table[life.Number, quote]{order: byNumber},
		requests:  table[requestName, request]{order: requestName.compare},
		partners:  table[string, store.Partner]{order: strings.Compare},
		keys:      table[string, store.Key]{order: strings.Compare},
		meshes:    table[meshName, mesh]{order: meshName.compare},
		files:     table[string, store.Mesh]{order: strings.Compare},
		enquiries: table[string, store.Enquiry]{order: strings.Compare},
	}
}

func byNumber(a, b life.Number) int {
	return cmp.Or(cmp.Compare(a.Year, b.Year), cmp.Compare(a.Serial, b.Serial))
}

// table is records in the order of their keys. It is a value: putting and dropping give it
// rows of its own, and whoever holds a copy still has the rows from before.
type table[K, V any] struct {
	order func(a, b K) int
	rows  []row[K, V]
}

type row[K, V any] struct {
	key   K
	value *V // never changed; a pointer, so that rows are cheap to copy
}

// place is where a key is, or would be put.
func (t table[K, V]) place(key K) (at int, found bool) {
	return slices.BinarySearchFunc(t.rows, key, func(r row[K, V], key K) int { return t.order(r.key, key) })
}

func (t table[K, V]) get(key K) (value V, found bool) {
	at, found := t.place(key)
	if found {
		value = *t.rows[at].value
	}
	return value, found
}

func (t table[K, V]) has(key K) bool {
	_, found := t.place(key)
	return found
}

func (t *table[K, V]) put(key K, value V) {
	at, found := t.place(key)
	beyond := at
	if found {
		beyond++
	}
	t.rows = slices.Concat(t.rows[:at], []row[K, V]{{key, &value}}, t.rows[beyond:])
}

func (t *table[K, V]) drop(key K) {
	if at, found := t.place(key); found {
		t.rows = slices.Concat(t.rows[:at], t.rows[at+1:])
	}
}

// below is the rows before a key.
func (t table[K, V]) below(key K) []row[K, V] {
	at, _ := t.place(key)
	return t.rows[:at]
}

// beyond is the rows after a key.
func (t table[K, V]) beyond(key K) []row[K, V] {
	at, found := t.place(key)
	if found {
		at++
	}
	return t.rows[at:]
}

// dropAll drops the records that are of some kind, and says how many.
func (t *table[K, V]) dropAll(of func(V) bool) (count int) {
	rows := slices.DeleteFunc(slices.Clone(t.rows), func(r row[K, V]) bool { return of(*r.value) })
	count = len(t.rows) - len(rows)
	t.rows = rows
	return count
}

// pick copies at most limit values for which a condition holds.
func pick[K, V any](rows []row[K, V], limit int, holds func(V) bool) []V {
	var picked []V
	for _, r := range rows {
		if len(picked) >= limit {
			break
		}
		if holds(*r.value) {
			picked = append(picked, *r.value)
		}
	}
	return picked
}

// moment is where something stands in a list that is ordered by time.
type moment struct {
	at   int64 // microseconds since 1970
	name string
}

func (m moment) compare(o moment) int {
	return cmp.Or(cmp.Compare(m.at, o.at), cmp.Compare(m.name, o.name))
}

// newest copies at most limit values, the newest first and those of one moment from the last
// name to the first, from beyond after on; from the newest where that has no name.
func newest[V any](t table[string, V], after moment, limit int, when func(V) moment) []V {
	found := pick(t.rows, len(t.rows), func(v V) bool { return after.name == "" || when(v).compare(after) < 0 })
	slices.SortFunc(found, func(a, b V) int { return when(b).compare(when(a)) })
	return found[:max(0, min(limit, len(found)))]
}

// blob is a copy of bytes, and never nil.
func blob(b []byte) []byte { return append([]byte{}, b...) }

// micros is a time as the databases keep it: microseconds since 1970, and 0 for none.
func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// asKept is a time as it comes back.
func asKept(t time.Time) time.Time {
	us := micros(t)
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

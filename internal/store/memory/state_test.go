package memory

import (
	"cmp"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A table holds what a map holds, in order, and copies of it stay as they were.
func TestTableIsAMapInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now, want := table[int, string]{order: cmp.Compare[int]}, map[int]string{}
		earlier, wanted := now, maps.Clone(want)
		key := rapid.IntRange(0, 9)
		t.Repeat(map[string]func(*rapid.T){
			"put": func(t *rapid.T) {
				k, v := key.Draw(t, "key"), rapid.String().Draw(t, "value")
				now.put(k, v)
				want[k] = v
			},
			"drop": func(t *rapid.T) {
				k := key.Draw(t, "key")
				now.drop(k)
				delete(want, k)
			},
			"drop all": func(t *rapid.T) {
				v := rapid.String().Draw(t, "from")
				before := len(want)
				maps.DeleteFunc(want, func(_ int, have string) bool { return have > v })
				if got := now.dropAll(func(have string) bool { return have > v }); got != before-len(want) {
					t.Fatalf("%d dropped, want %d", got, before-len(want))
				}
			},
			"copy": func(*rapid.T) { earlier, wanted = now, maps.Clone(want) },
			"": func(t *rapid.T) {
				same(t, now, want)
				same(t, earlier, wanted)
				split(t, now, key.Draw(t, "between"))
			},
		})
	})
}

func same(t *rapid.T, got table[int, string], want map[int]string) {
	t.Helper()
	have := map[int]string{}
	for _, r := range got.rows {
		have[r.key] = *r.value
	}
	if !maps.Equal(have, want) || !slices.IsSortedFunc(got.rows, func(a, b row[int, string]) int { return cmp.Compare(a.key, b.key) }) || len(got.rows) != len(want) {
		t.Fatalf("got %v, want %v", have, want)
	}
	for k := range 10 {
		v, found := got.get(k)
		if wanted, there := want[k]; v != wanted || found != there || got.has(k) != there {
			t.Fatalf("%d: got %q, %v, want %q, %v", k, v, found, wanted, there)
		}
	}
}

// split holds that below and beyond leave out the key and nothing else.
func split(t *rapid.T, got table[int, string], key int) {
	t.Helper()
	rest := slices.DeleteFunc(slices.Clone(got.rows), func(r row[int, string]) bool { return r.key == key })
	if joined := slices.Concat(got.below(key), got.beyond(key)); !slices.Equal(joined, rest) {
		t.Fatalf("got %v, want %v", joined, rest)
	}
}

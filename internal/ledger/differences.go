package ledger

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
)

// differences names where two JSON documents differ, by paths below a root, at most as many
// places as are asked for. Documents that are not the same bytes differ in one place at least.
func differences(root string, before, after []byte, most int) []string {
	var one, other any
	if json.Unmarshal(before, &one) != nil || json.Unmarshal(after, &other) != nil {
		return []string{"one of the documents cannot be read"}
	}
	d := comparison{most: most}
	d.compare(root, one, other)
	if len(d.found) == 0 {
		d.add(cmp.Or(root, "the document"), "it differs in form only")
	}
	return d.found
}

type comparison struct {
	most  int
	found []string
}

func (d *comparison) add(path, what string) {
	if len(d.found) < d.most {
		d.found = append(d.found, path+": "+what)
	}
}

func (d *comparison) compare(path string, one, other any) {
	if len(d.found) >= d.most || reflect.DeepEqual(one, other) {
		return
	}
	switch a := one.(type) {
	case map[string]any:
		if b, ok := other.(map[string]any); ok {
			d.objects(path, a, b)
			return
		}
	case []any:
		if b, ok := other.([]any); ok && len(a) == len(b) {
			for i := range a {
				d.compare(fmt.Sprintf("%s[%d]", path, i), a[i], b[i])
			}
			return
		}
	}
	d.add(path, fmt.Sprintf("kept %s, now %s", short(one), short(other)))
}

func (d *comparison) objects(path string, a, b map[string]any) {
	keys := maps.Clone(a)
	maps.Copy(keys, b)
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		at := key
		if path != "" {
			at = path + "." + key
		}
		d.compare(at, a[key], b[key])
	}
}

// short is a value as far as a line of text has room for it.
func short(v any) string {
	const most = 60
	switch v := v.(type) {
	case nil:
		return "nothing"
	case []any:
		return fmt.Sprintf("%d items", len(v))
	case map[string]any:
		return fmt.Sprintf("%d fields", len(v))
	}
	text := []rune(fmt.Sprint(v))
	if len(text) > most {
		return string(text[:most]) + "…"
	}
	return string(text)
}

package access

import "github.com/mouldwright/mouldwright/internal/store"

// ClosedOwners says of each owner of keys, the studio as the empty name included, whether its
// keys open nothing since the partner is closed.
func ClosedOwners(r store.Reader, keys []store.Key, eyes store.Eyes) (map[string]bool, error) {
	closed := map[string]bool{"": false} // the studio
	for _, k := range keys {
		if _, known := closed[k.Owner]; known {
			continue
		}
		p, err := r.Partner(k.Owner, eyes)
		if err != nil {
			return nil, err
		}
		closed[k.Owner] = p.Closed
	}
	return closed, nil
}

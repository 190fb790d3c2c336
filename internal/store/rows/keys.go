package rows

import (
	"fmt"
	"strings"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddKey keeps a key.
func (tx *Tx) AddKey(k store.Key) (store.Key, error) {
	k, err := tx.addKey(k)
	return k, tx.write(err)
}

func (tx *Tx) addKey(k store.Key) (store.Key, error) {
	if err := k.Fit(); err != nil {
		return store.Key{}, err
	}
	if k.Owner != "" { // partners are kept for good, so this one will be there
		if _, err := tx.partner(k.Owner, store.Studio(), ""); err != nil {
			return store.Key{}, err
		}
	}
	k = keyAsKept(k)
	added, err := tx.try(`INSERT INTO keys (id, owner, title, scopes, digest, made, expires, revoked, used)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT DO NOTHING`,
		k.ID, k.Owner, k.Title, strings.Join(k.Scopes, " "), k.Digest[:], micros(k.Made), micros(k.Expires), micros(k.Revoked), micros(k.Used))
	if err == nil && !added {
		err = fmt.Errorf("key %s: %w", k.ID, store.ErrTaken)
	}
	if err != nil {
		return store.Key{}, err
	}
	return k, nil
}

func keyAsKept(k store.Key) store.Key {
	k.Scopes = append([]string(nil), k.Scopes...) // none are nil, as they come back
	k.Made, k.Expires, k.Revoked, k.Used = asKept(k.Made), asKept(k.Expires), asKept(k.Revoked), asKept(k.Used)
	return k
}

// RevokeKey ends the use of a key.
func (tx *Tx) RevokeKey(id string, at time.Time, eyes store.Eyes) (store.Key, error) {
	k, err := tx.revokeKey(id, at, eyes)
	return k, tx.write(err)
}

func (tx *Tx) revokeKey(id string, at time.Time, eyes store.Eyes) (store.Key, error) {
	if micros(at) == 0 {
		return store.Key{}, fmt.Errorf("%w: a key is not revoked at no time", store.ErrUnfit)
	}
	k, err := tx.key(id, tx.locks.Change)
	if err == nil && !eyes.Sees(k.Owner) {
		err = noKey(id)
	}
	if err != nil {
		return store.Key{}, err
	}
	if !k.Revoked.IsZero() {
		return k, nil
	}
	k.Revoked = asKept(at)
	tx.exec(statement(`UPDATE keys SET revoked = $2 WHERE id = $1`, id, micros(at)))
	return k, nil
}

// UseKey notes when a key was last used.
func (tx *Tx) UseKey(id string, at time.Time) error {
	if !store.Readable(id) {
		return nil
	}
	_, err := tx.try(`UPDATE keys SET used = $2 WHERE id = $1 AND used < $2`, id, micros(at))
	return tx.write(err)
}

// Key returns a key.
func (tx *Tx) Key(id string) (store.Key, error) { return tx.key(id, "") }

func (tx *Tx) key(id, locked string) (store.Key, error) {
	if !store.Readable(id) {
		return store.Key{}, noKey(id)
	}
	found, err := tx.keys("WHERE id = $1"+locked, id)
	if err == nil && len(found) == 0 {
		err = noKey(id)
	}
	if err != nil {
		return store.Key{}, err
	}
	return found[0], nil
}

func noKey(id string) error { return fmt.Errorf("key %s: %w", id, store.ErrNotFound) }

// Keys lists keys without their digests.
func (tx *Tx) Keys(owner *string, after string, limit int, eyes store.Eyes) ([]store.Key, error) {
	mine, all := eyes.Owner()
	if limit < 1 || !all && mine == "" || !store.Readable(after, mine) || owner != nil && !store.Readable(*owner) {
		return nil, nil
	}
	var w where
	w.and("id > ?", after)
	if !all {
		w.and("owner = ?", mine)
	}
	if owner != nil {
		w.and("owner = ?", *owner)
	}
	found, err := tx.keys(fmt.Sprintf("%s ORDER BY id LIMIT %d", &w, limit), w.args...)
	for i := range found {
		clear(found[i].Digest[:])
	}
	return found, err
}

// keys reads what the rest of a query picks.
func (tx *Tx) keys(rest string, args ...any) ([]store.Key, error) {
	var keys []store.Key
	err := tx.each(func(scan func(...any) error) error {
		var k store.Key
		var scopes string
		var digest []byte
		var made, expires, revoked, used int64
		err := scan(&k.ID, &k.Owner, &k.Title, &scopes, &digest, &made, &expires, &revoked, &used)
		copy(k.Digest[:], digest)
		if scopes != "" {
			k.Scopes = strings.Split(scopes, " ")
		}
		k.Made, k.Expires, k.Revoked, k.Used = fromMicros(made), fromMicros(expires), fromMicros(revoked), fromMicros(used)
		keys = append(keys, k)
		return err
	}, `SELECT id, owner, title, scopes, digest, made, expires, revoked, used FROM keys `+rest, args...)
	return keys, err
}

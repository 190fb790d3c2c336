package memory

import (
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddKey keeps a key.
func (tx *transaction) AddKey(k store.Key) (store.Key, error) {
	k, err := tx.addKey(k)
	return k, tx.write(err)
}

func (tx *transaction) addKey(k store.Key) (store.Key, error) {
	if err := k.Fit(); err != nil {
		return store.Key{}, err
	}
	if k.Owner != "" && !tx.partners.has(k.Owner) {
		return store.Key{}, noPartner(k.Owner)
	}
	if tx.keys.has(k.ID) {
		return store.Key{}, fmt.Errorf("key %s: %w", k.ID, store.ErrTaken)
	}
	k = copyOfKey(k)
	k.Made, k.Expires, k.Revoked, k.Used = asKept(k.Made), asKept(k.Expires), asKept(k.Revoked), asKept(k.Used)
	tx.keys.put(k.ID, k)
	return copyOfKey(k), nil
}

func copyOfKey(k store.Key) store.Key {
	k.Scopes = append([]string(nil), k.Scopes...) // none are nil
	return k
}

// RevokeKey ends the use of a key.
func (tx *transaction) RevokeKey(id string, at time.Time, eyes store.Eyes) (store.Key, error) {
	k, err := tx.revokeKey(id, at, eyes)
	return k, tx.write(err)
}

func (tx *transaction) revokeKey(id string, at time.Time, eyes store.Eyes) (store.Key, error) {
	if asKept(at).IsZero() {
		return store.Key{}, fmt.Errorf("%w: a key is not revoked at no time", store.ErrUnfit)
	}
	k, found := tx.keys.get(id)
	if !found || !eyes.Sees(k.Owner) {
		return store.Key{}, noKey(id)
	}
	if k.Revoked.IsZero() {
		k.Revoked = asKept(at)
		tx.keys.put(id, k)
	}
	return copyOfKey(k), nil
}

// UseKey notes when a key was last used.
func (tx *transaction) UseKey(id string, at time.Time) error {
	if k, found := tx.keys.get(id); found && micros(k.Used) < micros(at) {
		k.Used = asKept(at)
		tx.keys.put(id, k)
	}
	return nil
}

// Key returns a key.
func (s *state) Key(id string) (store.Key, error) {
	k, found := s.keys.get(id)
	if !found {
		return store.Key{}, noKey(id)
	}
	return copyOfKey(k), nil
}

func noKey(id string) error { return fmt.Errorf("key %s: %w", id, store.ErrNotFound) }

// Keys lists keys without their digests.
func (s *state) Keys(owner *string, after string, limit int, eyes store.Eyes) ([]store.Key, error) {
	if !store.Readable(after) {
		return nil, nil
	}
	keys := pick(s.keys.beyond(after), limit, func(k store.Key) bool { return eyes.Sees(k.Owner) && (owner == nil || *owner == k.Owner) })
	for i, k := range keys {
		keys[i] = copyOfKey(k)
		clear(keys[i].Digest[:])
	}
	return keys, nil
}

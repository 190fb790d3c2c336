package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const aboutKeys = `create makes a key and prints it, once: only a sum of it is kept. list shows the keys that there are, and whether they open anything. revoke shuts
the key of that ID out for good; the ID is what stands between the first two underscores of a key.`

// keyFlags are the flags of mouldwright key.
type keyFlags struct {
	store, partner, scope, title string
	days                         *int // nil where none are given
}

func (p *program) key(ctx context.Context, args []string) (err error) {
	var of keyFlags
	f := p.flags("key create|list|revoke [ID] [flags]", aboutKeys)
	f.StringVar(&of.store, "store", "mouldwright.db", "keys are kept in this SQLite `file`, or in PostgreSQL at postgres://…")
	f.StringVar(&of.partner, "partner", "", "`ID` of the partner that the key is for, or whose keys are listed; the studio's where it is left out, or all are listed")
	f.StringVar(&of.scope, "scope", "", "the most that a new key may do: read, write or admin; a partner's at most write")
	f.StringVar(&of.title, "title", "", "what a new key is called, 1 to 100 characters: whose hands it is in; this `name` stands in histories")
	f.Func("days", "`days` from now after which a new key opens nothing, 1 to 3650; left out, it does not expire", of.setDays)
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	of.partner = wire.PartnerID(of.partner)
	do, err := p.keyCommand(words, of)
	if err != nil {
		return p.misused("key: " + err.Error() + "; see mouldwright key --help")
	}
	if words[0] != "create" {
		if err := present(of.store); err != nil {
			return err
		}
	}
	kept, err := openStore(ctx, of.store)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	return do(ctx, kept)
}

// setDays takes the days that a flag gives.
func (of *keyFlags) setDays(text string) error {
	days, err := strconv.Atoi(text)
	if err != nil {
		return errors.New("allowed: 1 to 3650")
	}
	of.days = &days
	return nil
}

// keyCommand is what is to be done with the keys of a store.
func (p *program) keyCommand(words []string, of keyFlags) (func(context.Context, store.Store) error, error) {
	switch {
	case len(words) == 1 && words[0] == "create":
		key, err := of.key()
		return func(ctx context.Context, s store.Store) error { return p.createKey(ctx, s, key) }, err
	case len(words) == 1 && words[0] == "list":
		return func(ctx context.Context, s store.Store) error { return p.listKeys(ctx, s, of.partner) }, nil
	case len(words) == 2 && words[0] == "revoke":
		id := strings.TrimPrefix(words[1], wire.KeyPrefix)
		return func(ctx context.Context, s store.Store) error { return p.revokeKey(ctx, s, id) }, plainID(id)
	default:
		return nil, errors.New("it takes create, list, or revoke and the ID of a key")
	}
}

// present refuses a file that is not there: a store would be made of it, with no keys.
func present(at string) error {
	if strings.Contains(at, "://") {
		return nil
	}
	if _, err := os.Stat(at); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("--store: got %q, and there is no such file", at)
	}
	return nil
}

// plainID refuses what is no ID, above all a whole key, which it does not repeat.
func plainID(id string) error {
	const length = 16
	strange := func(r rune) bool { return (r < 'a' || r > 'z') && (r < '2' || r > '7') }
	if len(id) != length || strings.ContainsFunc(id, strange) {
		return errors.New("revoke takes the ID of a key, which has 16 small letters and digits from 2 to 7")
	}
	return nil
}

// key is a new key of these flags, but for its secret.
func (of keyFlags) key() (store.Key, error) {
	scopes, err := access.ParseScopes([]string{of.scope})
	kind := access.Studio
	if of.partner != "" {
		kind = access.Partner
	}
	switch {
	case err != nil:
		err = fmt.Errorf("--scope: got %q, allowed: read, write, admin", of.scope)
	case !kind.Most().Has(scopes):
		err = fmt.Errorf("--scope: got %q for a partner, allowed: read, write", of.scope)
	}
	const longest, mostDays, day = 100, 3650, 24 * time.Hour
	if n := len([]rune(of.title)); n < 1 || n > longest {
		err = errors.Join(err, fmt.Errorf("--title: got %d characters, allowed: 1 to %d", n, longest))
	}
	key := store.Key{Owner: of.partner, Title: of.title, Scopes: scopes.Names(), Made: time.Now()}
	switch {
	case of.days == nil: // it does not expire
	case *of.days < 1 || *of.days > mostDays:
		err = errors.Join(err, fmt.Errorf("--days: got %d, allowed: 1 to %d; left out, the key does not expire", *of.days, mostDays))
	default:
		key.Expires = key.Made.Add(time.Duration(*of.days) * day)
	}
	return key, err
}

// createKey makes a key. Its text alone goes to standard output, so that it can be piped.
func (p *program) createKey(ctx context.Context, s store.Store, key store.Key) error {
	secret, err := access.NewKey(rand.Reader)
	if err != nil {
		return err
	}
	key.ID, key.Digest = secret.ID(), secret.Digest()
	err = s.Update(ctx, func(tx store.Tx) error {
		closed, err := access.ClosedOwners(tx, []store.Key{key}, store.Studio())
		if err == nil && closed[key.Owner] {
			err = fmt.Errorf("--partner: got %q, which is closed; allowed: another, or this one once it is opened again", key.Owner)
		}
		if err == nil {
			_, err = tx.AddKey(key)
		}
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("--partner: got %q, which is no partner of this store", key.Owner)
	}
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintln(p.stdout, secret.Reveal()); err != nil {
		return fmt.Errorf("the key could not be shown, and never can be again; revoke %s and make another: %w", key.ID, err)
	}
	fmt.Fprintf(p.stderr, "This is key %s, for %s. It is shown this once and cannot be had again: keep it where passwords are kept, and send it with each call as the header\n"+
		"  Authorization: Bearer (the key)\n", key.ID, holder(key))
	return nil
}

func holder(k store.Key) string {
	if k.Owner == "" {
		return "the studio"
	}
	return wire.PartnerName(k.Owner)
}

// listKeys prints a line for each key, by id.
func (p *program) listKeys(ctx context.Context, s store.Store, partner string) error {
	var owner *string
	if partner != "" {
		owner = &partner
	}
	table := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "ID\tFOR\tSCOPE\tSTATE\tMADE\tEXPIRES\tREVOKED\tLAST USED\tTITLE")
	const page = 100
	now := time.Now()
	for after, more := "", true; more; {
		var keys []store.Key
		var closed map[string]bool
		err := s.View(ctx, func(r store.Reader) (err error) {
			if keys, err = r.Keys(owner, after, page, store.Studio()); err != nil {
				return err
			}
			closed, err = access.ClosedOwners(r, keys, store.Studio())
			return err
		})
		if err != nil {
			return err
		}
		for _, k := range keys {
			fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, holder(k), most(k), standing(k, closed[k.Owner], now), when(k.Made), when(k.Expires), when(k.Revoked), when(k.Used), k.Title)
			after = k.ID
		}
		more = len(keys) == page
	}
	return table.Flush()
}

// standing says whether a key opens anything.
func standing(k store.Key, closed bool, at time.Time) string {
	switch wire.KeyState(k, closed, at) {
	case mouldwrightv1.KeyState_KEY_STATE_REVOKED:
		return "revoked"
	case mouldwrightv1.KeyState_KEY_STATE_EXPIRED:
		return "expired"
	case mouldwrightv1.KeyState_KEY_STATE_PARTNER_CLOSED:
		return "partner closed"
	default:
		return "open"
	}
}

// most is the scope that holds all others of a key's.
func most(k store.Key) string {
	scopes, _ := access.ParseScopes(k.Scopes) // from one that is not known nothing follows
	names := append([]string{"none"}, scopes.Names()...)
	return names[len(names)-1]
}

// when is a moment in UTC, to the second; a hyphen for none.
func when(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format(time.RFC3339)
}

// revokeKey shuts a key out.
func (p *program) revokeKey(ctx context.Context, s store.Store, id string) error {
	var key store.Key
	err := s.Update(ctx, func(tx store.Tx) (err error) {
		key, err = tx.RevokeKey(id, time.Now(), store.Studio())
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("there is no key %s in this store", id)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "key %s for %s (%s) was revoked at %s; servers that run refuse it within a second\n", key.ID, holder(key), key.Title, when(key.Revoked))
	return err
}

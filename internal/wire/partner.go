package wire

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Partner returns a partner that is kept. Its error is that of terms that cannot be read,
// which no partner is shown without.
func Partner(p store.Partner) (*mouldwrightv1.Partner, error) {
	terms, err := DecodeTerms(p.Terms)
	if err != nil {
		return nil, fmt.Errorf("partner %s: %w", p.ID, err)
	}
	return &mouldwrightv1.Partner{
		Name: PartnerName(p.ID), Title: p.Title, Terms: terms, Closed: p.Closed, Etag: PartnerEtag(p), CreateTime: Time(p.At),
	}, nil
}

// termsField is the field of a partner whose own fields may be set one by one.
const termsField = "terms"

// PartnerPaths are the fields of a partner that may be set, as JSON names them: terms for all
// terms at once, and each of them by itself.
func PartnerPaths() []string {
	paths := []string{"title", termsField}
	fields := (*mouldwrightv1.PartnerTerms)(nil).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		paths = append(paths, termsField+"."+fields.Get(i).JSONName())
	}
	return append(paths, "closed")
}

// PartnerPath returns the one of PartnerPaths that a field mask means, which names it as JSON
// does or as the contract does; ok is false where it means none.
func PartnerPath(masked string) (path string, ok bool) {
	for _, path := range PartnerPaths() {
		if masked == path || masked == snakePath(path) {
			return path, true
		}
	}
	return "", false
}

// IsTerms reports whether one of PartnerPaths is of a partner's terms.
func IsTerms(path string) bool { return path == termsField || strings.HasPrefix(path, termsField+".") }

// SetPaths are those of PartnerPaths that are set in a partner; of terms those that are set in
// them, each by itself.
func SetPaths(p *mouldwrightv1.Partner) (set []string) {
	for _, path := range PartnerPaths() {
		of, f := partnerField(p.ProtoReflect(), path)
		if path != termsField && of.Has(f) {
			set = append(set, path)
		}
	}
	return set
}

// SetPartner sets some of PartnerPaths in a partner as they are in another; what is not set
// there is emptied.
func SetPartner(to, from *mouldwrightv1.Partner, paths []string) {
	from = proto.CloneOf(from)
	if to.GetTerms() == nil {
		to.Terms = &mouldwrightv1.PartnerTerms{}
	}
	for _, path := range paths {
		theirs, f := partnerField(from.ProtoReflect(), path)
		own, _ := partnerField(to.ProtoReflect(), path)
		if theirs.Has(f) {
			own.Set(f, theirs.Get(f))
			continue
		}
		own.Clear(f)
		if path == termsField {
			to.Terms = &mouldwrightv1.PartnerTerms{}
		}
	}
}

// partnerField returns the message that a path leads to a field of, and the field.
func partnerField(of protoreflect.Message, path string) (protoreflect.Message, protoreflect.FieldDescriptor) {
	name, below, nested := strings.Cut(path, ".")
	f := of.Descriptor().Fields().ByJSONName(name)
	if nested {
		return partnerField(of.Get(f).Message(), below)
	}
	return of, f
}

// EncodeTerms writes a partner's terms as they are kept: our stable JSON. No terms are an
// empty object.
func EncodeTerms(terms *mouldwrightv1.PartnerTerms) ([]byte, error) { return Encode(terms) }

// DecodeTerms reads a partner's terms as they are kept. Where nothing is kept there are no
// terms of its own.
func DecodeTerms(doc []byte) (*mouldwrightv1.PartnerTerms, error) {
	terms := &mouldwrightv1.PartnerTerms{}
	if len(doc) == 0 {
		return terms, nil
	}
	if err := DecodeKept(doc, terms); err != nil {
		return nil, fmt.Errorf("terms that are kept cannot be read: %w", err)
	}
	return terms, nil
}

// etagDigits is how many hexadecimal digits of the sum an etag has.
const etagDigits = 8

// PartnerEtag is a partner's version and, behind a hyphen, eight hexadecimal digits of the
// SHA-256 of all else that is kept of it, such as 3-5f2c01ab. The same etag means that nothing has
// changed since.
func PartnerEtag(p store.Partner) string {
	var all []byte
	for _, part := range []string{p.ID, p.Title, string(p.Terms), strconv.FormatBool(p.Closed), Time(p.At)} {
		all = binary.BigEndian.AppendUint64(all, uint64(len(part)))
		all = append(all, part...)
	}
	sum := sha256.Sum256(all)
	return fmt.Sprintf("%d-%s", p.Version, hex.EncodeToString(sum[:])[:etagDigits])
}

// PartnerVersion returns the version that an etag was given for, from 1 on; ok is false for a
// text that PartnerEtag does not write. That the etag is the one of today is for whoever has
// the partner to compare with.
func PartnerVersion(etag string) (version int, ok bool) {
	number, digits, _ := strings.Cut(etag, "-")
	version, err := strconv.Atoi(number)
	if err != nil || version < 1 || strconv.Itoa(version) != number {
		return 0, false
	}
	foreign := func(r rune) bool { return (r < '0' || r > '9') && (r < 'a' || r > 'f') }
	if len(digits) != etagDigits || strings.ContainsFunc(digits, foreign) {
		return 0, false
	}
	return version, true
}

// Key returns how a key that is kept is known, and in which state it is at a time; nothing of
// its secret is in it. Closed is whether the partner is whose it is.
func Key(k store.Key, closed bool, at time.Time) *mouldwrightv1.Key {
	return &mouldwrightv1.Key{
		Name: KeyPrefix + k.ID, Title: k.Title, Partner: PartnerName(k.Owner), Scope: highest(k.Scopes),
		CreateTime: Time(k.Made), ExpireTime: Time(k.Expires), RevokeTime: Time(k.Revoked), LastUseTime: Time(k.Used),
		State: KeyState(k, closed, at),
	}
}

// KeyState says whether a key opens anything at a time: what it never will again goes before
// what opening its partner would mend.
func KeyState(k store.Key, closed bool, at time.Time) mouldwrightv1.KeyState {
	switch {
	case !k.Revoked.IsZero():
		return mouldwrightv1.KeyState_KEY_STATE_REVOKED
	case !k.Expires.IsZero() && !at.Before(k.Expires):
		return mouldwrightv1.KeyState_KEY_STATE_EXPIRED
	case closed:
		return mouldwrightv1.KeyState_KEY_STATE_PARTNER_CLOSED
	default:
		return mouldwrightv1.KeyState_KEY_STATE_OPEN
	}
}

// highest is the scope that holds all others of a key's; unspecified where it has none that is
// known: such a key opens nothing.
func highest(names []string) mouldwrightv1.Scope {
	var most mouldwrightv1.Scope
	for _, name := range names {
		switch name {
		case "read":
			most = max(most, mouldwrightv1.Scope_SCOPE_READ)
		case "write":
			most = max(most, mouldwrightv1.Scope_SCOPE_WRITE)
		case "admin":
			most = max(most, mouldwrightv1.Scope_SCOPE_ADMIN)
		}
	}
	return most
}

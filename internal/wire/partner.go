package wire

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

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
	if err := Decode(doc, terms).Err(); err != nil {
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

// Key returns how a key that is kept is known; nothing of its secret is in it.
func Key(k store.Key) *mouldwrightv1.Key {
	return &mouldwrightv1.Key{
		Name: KeyPrefix + k.ID, Title: k.Title, Partner: PartnerName(k.Owner), Scope: highest(k.Scopes),
		CreateTime: Time(k.Made), ExpireTime: Time(k.Expires), RevokeTime: Time(k.Revoked), LastUseTime: Time(k.Used),
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

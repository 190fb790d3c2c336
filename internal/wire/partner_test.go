package wire_test

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// tamsinRow is an invented partner.
func tamsinRow() store.Partner {
	return store.Partner{
		ID: "tamsin-row", Title: "Tamsin Row Events", Terms: []byte(`{"discountPercent":"5","marginPercent":"32","finishes":["satin"]}`),
		Version: 3, At: time.Date(2027, 3, 1, 9, 30, 0, 250_000_000, time.FixedZone("", 3600)),
	}
}

func TestPartnerGoesOutWhole(t *testing.T) {
	kept := tamsinRow()
	got, err := wire.Partner(kept)
	require.NoError(t, err)
	want := &mouldwrightv1.Partner{
		Name: "partners/tamsin-row", Title: "Tamsin Row Events", Etag: wire.PartnerEtag(kept), CreateTime: "2027-03-01T08:30:00.25Z",
		Terms: &mouldwrightv1.PartnerTerms{DiscountPercent: "5", MarginPercent: "32", Finishes: []string{"satin"}},
	}
	require.True(t, proto.Equal(want, got), "%v", got)
	require.NoError(t, protovalidate.Validate(got), "what goes out may come in again")

	kept.Closed, kept.Terms, kept.At = true, nil, time.Time{}
	got, err = wire.Partner(kept)
	require.NoError(t, err)
	require.True(t, got.GetClosed())
	require.Empty(t, got.GetCreateTime())
	require.NotNil(t, got.GetTerms())
}

func TestPartnerWithTermsThatCannotBeReadIsNotShown(t *testing.T) {
	for _, terms := range []string{`{`, `{"discuont": "5"}`, `[]`, `{"finishes": "all"}`} {
		kept := tamsinRow()
		kept.Terms = []byte(terms)
		got, err := wire.Partner(kept)
		require.ErrorContains(t, err, "tamsin-row", terms)
		require.Nil(t, got)
	}
}

func TestTermsComeBackAsTheyWent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := &mouldwrightv1.PartnerTerms{}
		fill(t, want.ProtoReflect(), 2)
		doc, err := wire.EncodeTerms(want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := wire.DecodeTerms(doc)
		if err != nil || !proto.Equal(got, want) {
			t.Fatalf("%s: got %v, want %v (%v)", doc, got, want, err)
		}
	})
	doc, err := wire.EncodeTerms(nil)
	require.NoError(t, err)
	require.Equal(t, "{}", string(doc))
}

// An etag tells every change of what is kept, and two that share out one text otherwise.
func TestPartnerEtagTellsEveryChange(t *testing.T) {
	etags := map[string]string{}
	for name, change := range map[string]func(*store.Partner){
		"none":    func(*store.Partner) {},
		"id":      func(p *store.Partner) { p.ID = "quillmere" },
		"title":   func(p *store.Partner) { p.Title = "Quillmere Displays" },
		"shared":  func(p *store.Partner) { p.ID, p.Title = "tamsin-rowT", "amsin Row Events" },
		"terms":   func(p *store.Partner) { p.Terms = []byte("{}") },
		"closed":  func(p *store.Partner) { p.Closed = true },
		"version": func(p *store.Partner) { p.Version++ },
		"time":    func(p *store.Partner) { p.At = p.At.Add(time.Microsecond) },
	} {
		p := tamsinRow()
		change(&p)
		etag := wire.PartnerEtag(p)
		require.Empty(t, etags[etag], "%s has the etag of %s", name, etags[etag])
		etags[etag] = name
		version, ok := wire.PartnerVersion(etag)
		require.True(t, ok, etag)
		require.Equal(t, p.Version, version)
	}
	zoned := tamsinRow()
	zoned.At = zoned.At.UTC()
	require.Equal(t, wire.PartnerEtag(tamsinRow()), wire.PartnerEtag(zoned), "the zone says nothing")
}

// SHA-256 (FIPS 180-4) as the standard library has it, over lengths of eight bytes, the most significant first, and parts.
func TestPartnerEtagByHand(t *testing.T) {
	sum := sha256.Sum256([]byte("\x00\x00\x00\x00\x00\x00\x00\x01a" + "\x00\x00\x00\x00\x00\x00\x00\x01b" + "\x00\x00\x00\x00\x00\x00\x00\x02{}" +
		"\x00\x00\x00\x00\x00\x00\x00\x05false" + "\x00\x00\x00\x00\x00\x00\x00\x00"))
	got := wire.PartnerEtag(store.Partner{ID: "a", Title: "b", Terms: []byte("{}"), Version: 12})
	require.Equal(t, "12-"+hex.EncodeToString(sum[:4]), got)
}

func TestPartnerVersionTakesNoOtherText(t *testing.T) {
	for _, text := range []string{
		"", "3", "3-", "-5f2c01ab", "0-5f2c01ab", "-3-5f2c01ab", "+3-5f2c01ab", "03-5f2c01ab", "3-5F2C01AB", "3-5f2c01a", "3-5f2c01abc", "3-5f2c01ag",
		"3 -5f2c01ab", "3-5f2c01ab ", `"3-5f2c01ab"`, "3-5f2c-1ab", "99999999999999999999-5f2c01ab", "1e1-5f2c01ab", "٣-5f2c01ab", "3-5f2c01é",
	} {
		version, ok := wire.PartnerVersion(text)
		require.False(t, ok, "%q", text)
		require.Zero(t, version)
	}
}

func FuzzPartnerVersion(f *testing.F) {
	for _, text := range []string{"3-5f2c01ab", "0-5f2c01ab", "+1-00000000", "1-", "-", "12-0123456789"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		version, ok := wire.PartnerVersion(text)
		etag := wire.PartnerEtag(store.Partner{Version: version})
		if ok != (len(text) == len(etag) && version > 0 && strings.HasPrefix(text, etag[:len(etag)-8])) {
			t.Fatalf("%q: %d, %t", text, version, ok)
		}
	})
}

func TestKeyGoesOutWithoutItsSecret(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2027, 3, day, 9, 0, 0, 0, time.FixedZone("", -3600)) }
	kept := store.Key{
		ID: "aaaaaaaaaaaaaaaa", Owner: "quillmere", Title: "till", Scopes: []string{"read", "write"}, Digest: sha256.Sum256([]byte("x")),
		Made: at(1), Expires: at(2), Revoked: at(3), Used: at(4),
	}
	require.True(t, proto.Equal(&mouldwrightv1.Key{
		Name: "keys/aaaaaaaaaaaaaaaa", Title: "till", Partner: "partners/quillmere", Scope: mouldwrightv1.Scope_SCOPE_WRITE,
		CreateTime: "2027-03-01T10:00:00Z", ExpireTime: "2027-03-02T10:00:00Z", RevokeTime: "2027-03-03T10:00:00Z", LastUseTime: "2027-03-04T10:00:00Z",
		State: mouldwrightv1.KeyState_KEY_STATE_REVOKED,
	}, wire.Key(kept, false, at(1))))
	require.True(t, proto.Equal(&mouldwrightv1.Key{Name: "keys/b", State: mouldwrightv1.KeyState_KEY_STATE_OPEN}, wire.Key(store.Key{ID: "b"}, false, at(1))), "the studio's, never used")
}

// What a key never will do again goes before what opening its partner would mend. The last moment of a key is the one before it
// expires, as at the gate.
func TestKeyState(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2027, 3, day, 9, 0, 0, 0, time.UTC) }
	for _, c := range []struct {
		key    store.Key
		closed bool
		want   mouldwrightv1.KeyState
	}{
		{store.Key{}, false, mouldwrightv1.KeyState_KEY_STATE_OPEN},
		{store.Key{}, true, mouldwrightv1.KeyState_KEY_STATE_PARTNER_CLOSED},
		{store.Key{Expires: at(2).Add(time.Nanosecond)}, false, mouldwrightv1.KeyState_KEY_STATE_OPEN},
		{store.Key{Expires: at(2)}, false, mouldwrightv1.KeyState_KEY_STATE_EXPIRED},
		{store.Key{Expires: at(1)}, true, mouldwrightv1.KeyState_KEY_STATE_EXPIRED},
		{store.Key{Expires: at(1), Revoked: at(1)}, true, mouldwrightv1.KeyState_KEY_STATE_REVOKED},
		{store.Key{Revoked: at(3)}, false, mouldwrightv1.KeyState_KEY_STATE_REVOKED},
	} {
		require.Equal(t, c.want, wire.KeyState(c.key, c.closed, at(2)), "%+v", c)
	}
}

func TestPartnerPaths(t *testing.T) {
	require.Equal(t, []string{
		"title", "terms", "terms.discountPercent", "terms.marginPercent", "terms.currencyCode", "terms.exchangeRate", "terms.tax", "terms.finishes", "closed",
	}, wire.PartnerPaths())
	for masked, want := range map[string]string{
		"title": "title", "terms": "terms", "terms.exchangeRate": "terms.exchangeRate", "terms.exchange_rate": "terms.exchangeRate", "closed": "closed",
		"": "", "*": "", "Title": "", "name": "", "etag": "", "terms.": "", "terms.*": "", "terms.Tax": "", "tax": "", "terms.tax.x": "", "create_time": "",
	} {
		path, ok := wire.PartnerPath(masked)
		require.Equal(t, want, path, masked)
		require.Equal(t, want != "", ok, masked)
	}
}

// AIP-134: without a mask "all fields that are populated"; of nested ones each by itself.
func TestSetPathsAreThoseThatAreSet(t *testing.T) {
	require.Empty(t, wire.SetPaths(nil))
	require.Empty(t, wire.SetPaths(&mouldwrightv1.Partner{Name: "partners/x", Etag: "1-0", Terms: &mouldwrightv1.PartnerTerms{}}))
	require.Equal(t, []string{"title", "terms.tax", "terms.finishes", "closed"}, wire.SetPaths(&mouldwrightv1.Partner{
		Title: "x", Closed: true, Terms: &mouldwrightv1.PartnerTerms{Tax: "zero", Finishes: []string{"gloss"}},
	}))
}

// What is named is set as it is in the other, or emptied, and nothing else changes: held against setting each field by hand.
func TestSetPartnerSetsWhatIsNamed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, kept := &mouldwrightv1.Partner{}, &mouldwrightv1.Partner{}
		fill(t, from.ProtoReflect(), 3)
		fill(t, kept.ProtoReflect(), 3)
		if kept.Terms == nil {
			kept.Terms = &mouldwrightv1.PartnerTerms{}
		}
		paths := rapid.SliceOfNDistinct(rapid.SampledFrom(wire.PartnerPaths()), 0, 4, rapid.ID).Draw(t, "paths")
		got, want, sent := proto.CloneOf(kept), proto.CloneOf(kept), proto.CloneOf(from)
		wire.SetPartner(got, from, paths)
		for _, path := range paths {
			setByHand(want, from, path)
		}
		if !proto.Equal(got, want) {
			t.Fatalf("%v of %v in %v: got %v, want %v", paths, from, kept, got, want)
		}
		if !proto.Equal(from, sent) {
			t.Fatalf("the other was changed: %v", from)
		}
	})
}

func setByHand(to, from *mouldwrightv1.Partner, path string) {
	terms := from.GetTerms()
	switch path {
	case "title":
		to.Title = from.GetTitle()
	case "closed":
		to.Closed = from.GetClosed()
	case "terms":
		to.Terms = &mouldwrightv1.PartnerTerms{}
		proto.Merge(to.Terms, terms)
	case "terms.discountPercent":
		to.Terms.DiscountPercent = terms.GetDiscountPercent()
	case "terms.marginPercent":
		to.Terms.MarginPercent = terms.GetMarginPercent()
	case "terms.currencyCode":
		to.Terms.CurrencyCode = terms.GetCurrencyCode()
	case "terms.exchangeRate":
		to.Terms.ExchangeRate = terms.GetExchangeRate()
	case "terms.tax":
		to.Terms.Tax = terms.GetTax()
	case "terms.finishes":
		to.Terms.Finishes = terms.GetFinishes()
	}
}

func TestKeyHasItsHighestScope(t *testing.T) {
	for names, want := range map[string]mouldwrightv1.Scope{
		"":                 mouldwrightv1.Scope_SCOPE_UNSPECIFIED,
		"everything":       mouldwrightv1.Scope_SCOPE_UNSPECIFIED,
		"read":             mouldwrightv1.Scope_SCOPE_READ,
		"write,read":       mouldwrightv1.Scope_SCOPE_WRITE,
		"admin":            mouldwrightv1.Scope_SCOPE_ADMIN,
		"read,admin,write": mouldwrightv1.Scope_SCOPE_ADMIN,
		"read,READ,x":      mouldwrightv1.Scope_SCOPE_READ,
	} {
		require.Equal(t, want, wire.Key(store.Key{Scopes: strings.Split(names, ",")}, false, time.Time{}).GetScope(), names)
	}
}

package access

import (
	"errors"
	"fmt"
)

// Errors of callers. What a store could not tell is passed on as the store's own error.
var (
	// ErrNoKey says that the call needs a key and came without.
	ErrNoKey = errors.New("this call needs an access key")
	// ErrForbidden says that the key does not let its caller do this. It comes as Forbidden.
	ErrForbidden = errors.New("this access key does not allow the call")
	// ErrBadKey says that the key opens nothing. Why is told by Reason alone.
	ErrBadKey = errors.New("this access key is not valid")
)

// Grant is what a key gives its caller.
type Grant struct {
	Caller Kind
	Scopes Scopes
}

// Forbidden says what was needed, and what the key has. It is an ErrForbidden.
type Forbidden struct {
	Need Need
	Has  Grant
}

// Error names both.
func (f Forbidden) Error() string {
	return fmt.Sprintf("%v: it needs a key of kind %s or higher with the scopes %s; this one is of kind %s with %s",
		ErrForbidden, f.Need.Caller, f.Need.Scope, f.Has.Caller, f.Has.Scopes)
}

// Unwrap gives ErrForbidden.
func (f Forbidden) Unwrap() error { return ErrForbidden }

// Why is the reason for which a key opened nothing.
type Why string

// The reasons.
const (
	Malformed     Why = "malformed"      // no key, or a mistyped one
	Unknown       Why = "unknown"        // no key of that id is kept
	WrongSecret   Why = "wrong secret"   // the id is kept with another secret
	Expired       Why = "expired"        // its time is over
	Revoked       Why = "revoked"        // it was taken back
	PartnerClosed Why = "partner closed" // its partner is closed, or is not kept at all
)

// Reason is why a key opened nothing, for the log only: told to the caller, it would help to
// guess keys. It is empty for errors that are no ErrBadKey.
func Reason(err error) Why {
	var r refusal
	if !errors.As(err, &r) {
		return ""
	}
	return r.why
}

// refusal is an ErrBadKey whose reason is not in its words.
type refusal struct{ why Why }

func (refusal) Error() string { return ErrBadKey.Error() }

func (refusal) Unwrap() error { return ErrBadKey }

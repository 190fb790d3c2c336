package server

import (
	"encoding/base64"
	"fmt"
	"unicode/utf8"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// pageSize is how many of a list come at once: as many as were asked for, or 20.
func pageSize(asked int32) int {
	const usual = 20
	if asked == 0 {
		return usual
	}
	return int(asked)
}

// pageToken is where a list goes on, for its caller to send back.
func pageToken(after string) string { return base64.RawURLEncoding.EncodeToString([]byte(after)) }

// tokenText reads a page token; empty for none.
func tokenText(token string) (string, error) {
	text, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || !utf8.Valid(text) {
		return "", strangeToken(token)
	}
	return string(text), nil
}

func strangeToken(token string) error {
	return &violations{faults: fault.List{{Path: "pageToken", Message: fmt.Sprintf("got %q, which no page before gave; allowed: its nextPageToken, or none", clip(token))}}}
}

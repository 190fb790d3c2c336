package server

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// heaviest is a sound brief that takes the most reckoning for its length: every piece on the less costly route, which is searched for,
// and every option the whole brief again.
func heaviest(pieces, options int) string {
	zone := `,{"name":"z","finish":"metal-leaf","countPerCast":1,"spot":{"diameterMm":9}}`
	zones := strings.Repeat(zone, 9)[1:]
	var p, o strings.Builder
	for i := range pieces {
		fmt.Fprintf(&p, `,{"code":"p%d","name":"P","quantity":%d,"route":"ROUTE_CHOOSE","form":{"solids":[{"dome":{"diameterMm":%d,"heightMm":40,"curve":"DOME_CURVE_HALF_SPHEROID"}}]},"zones":[%s]}`, i, 1+i%3, 100+i, zones)
	}
	for i := range options {
		fmt.Fprintf(&o, `,{"code":"o%d","name":"O","rush":""}`, i)
	}
	return fmt.Sprintf(`{"brief":{"title":"T","client":"C","pieces":[%s],"options":[%s]}}`, p.String()[1:], strings.TrimPrefix(o.String(), ","))
}

// The time that a handler takes cannot be cut short, so the largest brief has to be reckoned within the time that a call has.
func TestTheHeaviestBriefIsReckonedInTime(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole run reckons it, without the race detector")
	}
	s := start(t, Config{Timeout: Config{}.withDefaults().Timeout})
	body := heaviest(200, 10)
	got := s.post(t, preview, body)
	t.Logf("%d bytes in, %d out", len(body), len(got.body))
	assert.Equal(t, http.StatusOK, got.status, "%.400s", got.body)
}

//go:build linux

package endurance

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	spb "google.golang.org/genproto/googleapis/rpc/status"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// door is a way into a running program.
type door interface {
	// call makes one call and reads its answer. An error that is a *refusal was answered;
	// any other says that no answer came.
	call(ctx context.Context, c call) error
}

// call is one call, for either door.
type call struct {
	method     string // of the contract, in full
	verb, path string // in HTTP
	body       bool   // whether the request goes as the body, but for the name, which is in the path
	ask, reply proto.Message
	key        string // of the caller; empty for none
}

// refusal is an answer that is an error.
type refusal struct {
	code   codes.Code
	reason string
	status int  // of HTTP; 0 by gRPC
	retry  bool // it says when to try again
	words  string
}

// Error says all of it.
func (r *refusal) Error() string {
	return fmt.Sprintf("%v, %s (HTTP status %d, says when to try again: %t): %s", r.code, r.reason, r.status, r.retry, r.words)
}

// read takes a refusal from a status. Without the service's own mark it came from the
// connection, and is none.
func read(s *status.Status) *refusal {
	r := &refusal{code: s.Code(), words: s.Message()}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			if d.GetDomain() == "mouldwright" {
				r.reason = d.GetReason()
			}
		case *errdetails.RetryInfo:
			r.retry = true
		}
	}
	if r.reason == "" {
		return nil
	}
	return r
}

// longest bounds a call: longer than the program's own bound, so that its answer comes first.
const longest = 30 * time.Second

// rest is the REST door.
type rest struct {
	address string
	client  *http.Client
}

func overREST(t testing.TB, p *process) door {
	t.Helper()
	transport := &http.Transport{MaxIdleConnsPerHost: 32}
	t.Cleanup(transport.CloseIdleConnections)
	return &rest{p.address, &http.Client{Transport: transport, Timeout: longest}}
}

func (d *rest) call(ctx context.Context, c call) error {
	request, err := d.request(ctx, c)
	if err != nil {
		return err
	}
	answer, err := d.client.Do(request)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }() // it was read
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return err
	}
	if answer.StatusCode != http.StatusOK {
		return refused(answer, text)
	}
	return protojson.Unmarshal(text, c.reply)
}

func (d *rest) request(ctx context.Context, c call) (*http.Request, error) {
	var body io.Reader
	if c.body {
		text, err := protojson.Marshal(withoutName(c.ask))
		if err != nil {
			return nil, err
		}
		body = bytes.NewReader(text)
	}
	request, err := http.NewRequestWithContext(ctx, c.verb, "http://"+d.address+c.path, body)
	if err == nil && c.body {
		request.Header.Set("Content-Type", "application/json")
	}
	if err == nil && c.key != "" {
		request.Header.Set("Authorization", "Bearer "+c.key)
	}
	return request, err
}

// withoutName leaves out what stands in the path.
func withoutName(ask proto.Message) proto.Message {
	m := proto.Clone(ask).ProtoReflect()
	if name := m.Descriptor().Fields().ByName("name"); name != nil {
		m.Clear(name)
	}
	return m.Interface()
}

// refused reads an answer that is not 200.
func refused(answer *http.Response, text []byte) error {
	var s spb.Status
	if err := protojson.Unmarshal(text, &s); err != nil {
		return fmt.Errorf("HTTP status %d without a status of the service: %q", answer.StatusCode, text)
	}
	r := read(status.FromProto(&s))
	if r == nil {
		return fmt.Errorf("HTTP status %d without a reason of the service: %q", answer.StatusCode, text)
	}
	r.status, r.retry = answer.StatusCode, answer.Header.Get("Retry-After") != ""
	return r
}

// remote is the gRPC door.
type remote struct{ conn *grpc.ClientConn }

func overGRPC(t testing.TB, p *process) door {
	t.Helper()
	conn, err := grpc.NewClient(p.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() }) // nothing is under way
	return &remote{conn}
}

func (d *remote) call(ctx context.Context, c call) error {
	ctx, cancel := context.WithTimeout(ctx, longest)
	defer cancel()
	if c.key != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+c.key)
	}
	err := d.conn.Invoke(ctx, c.method, c.ask, c.reply)
	if err == nil {
		return nil
	}
	if r := read(status.Convert(err)); r != nil {
		return r
	}
	return err
}

// doors are both of them.
func doors(t testing.TB, p *process) []door {
	t.Helper()
	return []door{overREST(t, p), overGRPC(t, p)}
}

// tried is how a call went: answered with what was asked for, refused, or not answered.
func tried(err error) (refused *refusal, unanswered error) {
	if errors.As(err, &refused) {
		return refused, nil
	}
	return nil, err
}

// named is the call of an RPC on a quote, such as IssueQuote at :issue.
func named(rpc, name string, ask, reply proto.Message) call {
	verb := strings.ToLower(strings.TrimSuffix(rpc, "Quote"))
	return call{method: quotes + rpc, verb: http.MethodPost, path: "/v1/" + name + ":" + verb, body: true, ask: ask, reply: reply}
}

// quotes is what the quote service's RPCs begin with.
const quotes = "/mouldwright.v1.QuoteService/"

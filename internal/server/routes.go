package server

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// route is one way in that the contract gives over HTTP.
type route struct {
	rpc   string // its full name
	verb  string
	path  *regexp.Regexp
	query []protoreflect.FieldDescriptor // that may stand in the query
}

type routes []route

// newRoutes reads the routes off the contract's google.api.http options.
func newRoutes(services []service) (routes, error) {
	var all routes
	for _, s := range services {
		found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(s.desc.ServiceName))
		if err != nil {
			return nil, fmt.Errorf("looking for %s: %w", s.desc.ServiceName, err)
		}
		methods := found.(protoreflect.ServiceDescriptor).Methods()
		for i := range methods.Len() {
			rule := proto.GetExtension(methods.Get(i).Options(), annotations.E_Http).(*annotations.HttpRule)
			for _, r := range append(rule.GetAdditionalBindings(), rule) {
				verb, path := binding(r)
				all = append(all, route{"/" + s.desc.ServiceName + "/" + string(methods.Get(i).Name()), verb, pathPattern(path), queryFields(r, path, methods.Get(i).Input())})
			}
		}
	}
	return all, nil
}

func binding(r *annotations.HttpRule) (verb, path string) {
	switch p := r.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		return http.MethodGet, p.Get
	case *annotations.HttpRule_Put:
		return http.MethodPut, p.Put
	case *annotations.HttpRule_Post:
		return http.MethodPost, p.Post
	case *annotations.HttpRule_Delete:
		return http.MethodDelete, p.Delete
	case *annotations.HttpRule_Patch:
		return http.MethodPatch, p.Patch
	default:
		return r.GetCustom().GetKind(), r.GetCustom().GetPath()
	}
}

// queryFields lists the fields that stand neither in the path nor in the body. Only an
// RPC without a body has any.
func queryFields(r *annotations.HttpRule, path string, m protoreflect.MessageDescriptor) []protoreflect.FieldDescriptor {
	if r.GetBody() != "" {
		return nil
	}
	var fields []protoreflect.FieldDescriptor
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		if !strings.Contains(path, "{"+string(f.Name())+"=") && !strings.Contains(path, "{"+string(f.Name())+"}") {
			fields = append(fields, f)
		}
	}
	return fields
}

// rpc is the full name of the RPC of a path; empty for none.
func (r routes) rpc(verb, path string) string {
	for _, one := range r {
		if one.verb == verb && one.path.MatchString(path) {
			return one.rpc
		}
	}
	return ""
}

// parameters lists the fields that the query of a path may hold.
func (r routes) parameters(verb, path string) []protoreflect.FieldDescriptor {
	for _, one := range r {
		if one.verb == verb && one.path.MatchString(path) {
			return one.query
		}
	}
	return nil
}

// pathPattern turns a template such as /v1/{name=rateBooks/*} into an expression.
func pathPattern(template string) *regexp.Regexp {
	var b strings.Builder
	for template != "" {
		plain, variable, _ := strings.Cut(template, "{")
		variable, rest, _ := strings.Cut(variable, "}")
		b.WriteString(regexp.QuoteMeta(plain))
		if variable != "" {
			_, shape, ok := strings.Cut(variable, "=")
			if !ok {
				shape = "*"
			}
			b.WriteString(strings.ReplaceAll(regexp.QuoteMeta(shape), `\*`, "[^/]+"))
		}
		template = rest
	}
	return regexp.MustCompile("^" + b.String() + "$")
}

// verbs lists the methods that a path takes, each once; none for no path of ours.
func (r routes) verbs(path string) []string {
	var verbs []string
	for _, one := range r {
		if one.path.MatchString(path) && !slices.Contains(verbs, one.verb) {
			verbs = append(verbs, one.verb)
		}
	}
	slices.Sort(verbs)
	return verbs
}

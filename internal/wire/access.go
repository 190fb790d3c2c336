package wire

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// AccessOf returns what the contract asks of who calls a method: the least that a caller
// must be, and the scope that the key must have. A method that says nothing of one of them, or
// something that this program does not know, asks the most of it: it is the studio's, and an
// admin's. Methods of other contracts say nothing.
func AccessOf(method protoreflect.MethodDescriptor) (caller mouldwrightv1.Audience, scope mouldwrightv1.Scope) {
	said, _ := proto.GetExtension(method.Options(), mouldwrightv1.E_Access).(*mouldwrightv1.Access)
	caller, scope = said.GetCaller(), said.GetScope()
	if !isAudience(caller) {
		caller = mouldwrightv1.Audience_AUDIENCE_STUDIO
	}
	if scope < mouldwrightv1.Scope_SCOPE_READ || scope > mouldwrightv1.Scope_SCOPE_ADMIN {
		scope = mouldwrightv1.Scope_SCOPE_ADMIN
	}
	return caller, scope
}

// audienceOf is who sees a field of the contract. What nobody has decided on, or what was
// decided in words that this program does not know, is the studio's.
func audienceOf(f protoreflect.FieldDescriptor) mouldwrightv1.Audience {
	said, _ := proto.GetExtension(f.Options(), mouldwrightv1.E_Audience).(mouldwrightv1.Audience)
	if !isAudience(said) {
		return mouldwrightv1.Audience_AUDIENCE_STUDIO
	}
	return said
}

// isAudience reports whether a value names someone.
func isAudience(a mouldwrightv1.Audience) bool {
	return a >= mouldwrightv1.Audience_AUDIENCE_PUBLIC && a <= mouldwrightv1.Audience_AUDIENCE_STUDIO
}

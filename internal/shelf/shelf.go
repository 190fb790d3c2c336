// Package shelf takes mesh files for what they are: it names a file by its content and by
// how it is read, studies its model, and finds files that lie in folders. It keeps nothing;
// package cabinet does.
package shelf

import "strings"

// Prefix begins the resource name of every mesh.
const Prefix = "meshes/"

// IsName reports whether a string is a mesh's resource name as the contract has them:
// the prefix, and 1 to 80 lower-case letters, digits and hyphens.
func IsName(s string) bool {
	const longest = 80
	id, ok := strings.CutPrefix(s, Prefix)
	odd := func(c rune) bool { return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' }
	return ok && id != "" && len(id) <= longest && !strings.ContainsFunc(id, odd)
}

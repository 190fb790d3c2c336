// Package archtest holds tests of the house as a whole: which package may know which, what stands where, that generated code is
// fresh, and that the contract keeps the rules that its linter does not know.
package archtest

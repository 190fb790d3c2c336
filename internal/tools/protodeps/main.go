// Command protodeps writes the .proto files that the contract imports but does not own.
//
// It prints them from the descriptors that the Go modules in go.mod register, so their versions are pinned there, no copy of
// them is kept here, and the contract compiles with no network. Run-time descriptors carry no comments, so neither do the files.
//
//	go run ./internal/tools/protodeps DIRECTORY
package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/jhump/protoreflect/v2/protoprint"
	_ "google.golang.org/genproto/googleapis/api/annotations"
	_ "google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: protodeps DIRECTORY")
		os.Exit(2)
	}
	if err := writeAll(os.Args[1], protoregistry.GlobalFiles); err != nil {
		fmt.Fprintln(os.Stderr, "protodeps:", err)
		os.Exit(1)
	}
}

// writeAll writes every registered file below dir, which it empties first.
func writeAll(dir string, files *protoregistry.Files) error {
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	var errs []error
	files.RangeFiles(func(fd protoreflect.FileDescriptor) bool {
		if builtIn(fd.Path()) {
			return true
		}
		if err := write(filepath.Join(dir, filepath.FromSlash(fd.Path())), fd); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", fd.Path(), err))
		}
		return true
	})
	return errors.Join(errs...)
}

// builtIn reports whether the compiler brings the file along itself.
func builtIn(path string) bool { return strings.HasPrefix(path, "google/protobuf/") }

// write prints one file.
func write(path string, fd protoreflect.FileDescriptor) (err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return (&protoprint.Printer{}).PrintProtoFile(fd, f)
}

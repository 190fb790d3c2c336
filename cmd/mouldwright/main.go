// Command mouldwright quotes bespoke fibreglass work: it prices a brief at the
// command line, or serves the pricing engine over gRPC and REST and keeps quotes.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
)

const usage = `Mouldwright quotes bespoke fibreglass (GRP) work: pattern, mould, hand lay-up casts, paint, decoration.

Usage:
  mouldwright quote FILE          price a brief from a JSON file and print the itemised quote
  mouldwright measure FILE        measure a mesh at a scale and print a takeoff sheet
  mouldwright serve               serve the engine over gRPC and REST on one port, and keep quotes
  mouldwright key create|list|revoke
                                  the keys that callers of the service come with
  mouldwright recompute NUMBER    prove that kept quotes still come out as they are kept; --all for every one
  mouldwright ratebook check FILE find every fault of a rate book
  mouldwright ratebook export     print the demo rate book, to start your own from, or with --store one that is kept
  mouldwright ratebook import FILE
                                  check a rate book and keep it in a store
  mouldwright backup FILE         copy a store while it is in use
  mouldwright restore FILE        make a new store of a backup
  mouldwright migrate             bring a store to the newest version

Give a command --help for its flags. Every flag can be set as an environment variable too:
--rate-book is MOULDWRIGHT_RATE_BOOK. A flag given wins.

The demo rate book is used where none is named or kept; all of its figures are invented.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	program := program{stdout: os.Stdout, stderr: os.Stderr, env: os.Getenv}
	os.Exit(program.run(ctx, os.Args[1:]))
}

// program is one run of the command with everything that it touches.
type program struct {
	stdout, stderr io.Writer
	env            func(string) string
}

// errUsage says that the call was wrong and that the caller was told how.
var errUsage = errors.New("usage")

// run carries a command out and returns the exit status: 0 for done, 1 for a
// brief or rate book with faults, a quote that does not come out as it is kept,
// or a failure, 2 for a wrong call.
func (p *program) run(ctx context.Context, args []string) int {
	err := p.command(ctx, args)
	switch {
	case err == nil || errors.Is(err, flag.ErrHelp):
		return 0
	case errors.Is(err, errUsage):
		return 2
	default:
		fmt.Fprintln(p.stderr, "mouldwright:", err)
		return 1
	}
}

func (p *program) command(ctx context.Context, args []string) error {
	name := ""
	if len(args) > 0 {
		name = args[0]
	}
	if do, ok := p.commands()[name]; ok {
		return do(ctx, args[1:])
	}
	switch name {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(p.stdout, usage)
		return nil
	case "":
		return p.misused("no command given\n\n" + usage)
	default:
		return p.misused(fmt.Sprintf("no command %q\n\n%s", name, usage))
	}
}

// commands are what there is to do, by name.
func (p *program) commands() map[string]func(context.Context, []string) error {
	return map[string]func(context.Context, []string) error{
		"quote":     func(_ context.Context, args []string) error { return p.quote(args) },
		"measure":   func(_ context.Context, args []string) error { return p.measure(args) },
		"serve":     p.serve,
		"key":       p.key,
		"recompute": p.recompute,
		"ratebook":  p.ratebook,
		"backup":    p.backup,
		"restore":   p.restore,
		"migrate":   p.migrate,
	}
}

func (p *program) misused(message string) error {
	fmt.Fprint(p.stderr, "mouldwright: ", strings.TrimRight(message, "\n"), "\n")
	return errUsage
}

// flags makes the flag set of a command. Its help goes to standard output when
// asked for.
func (p *program) flags(name, about string) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {
		fmt.Fprintf(f.Output(), "Usage: mouldwright %s\n\n%s\n\nFlags:\n", name, about)
		f.PrintDefaults()
	}
	return f
}

// parse reads flags wherever they stand among the arguments, then environment
// variables for flags not given, and returns the other arguments.
func (p *program) parse(f *flag.FlagSet, args []string) ([]string, error) {
	var rest []string
	for {
		if err := f.Parse(args); err != nil {
			return nil, p.explain(f, err)
		}
		args = f.Args()
		if len(args) == 0 {
			return rest, p.fromEnvironment(f)
		}
		rest, args = append(rest, args[0]), args[1:]
	}
}

func (p *program) explain(f *flag.FlagSet, err error) error {
	if errors.Is(err, flag.ErrHelp) {
		f.SetOutput(p.stdout)
		f.Usage()
		return err
	}
	fmt.Fprintf(p.stderr, "mouldwright: %v\n", err)
	f.SetOutput(p.stderr)
	f.Usage()
	return errUsage
}

func (p *program) fromEnvironment(f *flag.FlagSet) error {
	given := map[string]bool{}
	f.Visit(func(g *flag.Flag) { given[g.Name] = true })
	var failed error
	f.VisitAll(func(g *flag.Flag) {
		variable := "MOULDWRIGHT_" + strings.ToUpper(strings.ReplaceAll(g.Name, "-", "_"))
		value := p.env(variable)
		if given[g.Name] || value == "" {
			return
		}
		if err := f.Set(g.Name, value); err != nil {
			failed = p.misused(fmt.Sprintf("%s: got %q: %v", variable, value, err))
		}
	})
	return failed
}

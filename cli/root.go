package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
)

// Exit codes, the same for every command.
const (
	Answered = 0 // the question was answered
	Refused  = 1 // the answer is a refusal, or a check failed
	BadUse   = 2 // bad use, or nothing could be read
)

// refusal is an answer that says no: exit 1.
type refusal struct{ text string }

func (r refusal) Error() string { return r.text }

// silent ends with a code after the command has already said everything.
type silent struct{ code int }

func (s silent) Error() string { return fmt.Sprintf("exit %d", s.code) }

// Main runs one command line and gives the exit code.
func Main(args []string, in io.Reader, out, errs io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.Execute()
	var r refusal
	var s silent
	switch {
	case err == nil:
		return Answered
	case errors.As(err, &s):
		return s.code
	case errors.As(err, &r):
		fmt.Fprintln(errs, "proveout:", r.text)
		return Refused
	}
	fmt.Fprintln(errs, "proveout:", err)
	return BadUse
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "proveout",
		Short: "Carry a repair job from the complaint to a proven repair",
		Long: `Proveout reads what your instruments recorded and what you typed, says what
each file shows and what it rules out, what is left, and what to do next.

It is not an instrument, it does not replace the vehicle maker's service
information or your judgement, and it never commands a vehicle module.

Exit codes: 0 answered, 1 the answer is a refusal or a failed check,
2 bad use or nothing could be read.`,
		Example: `  proveout diagnose examples/01-stumble-on-the-hill
  proveout diagnose --json JOBDIR | jq '.suspects[0]'
  proveout measure coil3.csv
  proveout decode candump.log
  proveout book show petrol-misfire`,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.CompletionOptions.HiddenDefaultCmd = false
	for _, make := range commands {
		root.AddCommand(make())
	}
	return root
}

// commands lists the constructors of all commands, in the order of the help page.
var commands = []func() *cobra.Command{}

// Command proveout carries a repair job from the customer's complaint to a
// proven repair: it reads what the shop's instruments recorded, says what each
// file shows, what it rules out, what is left, and what to do next.
//
// It never commands a vehicle module: it reads files and talks to people.
package main

import (
	"os"

	"proveout/cli"
)

func main() {
	os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

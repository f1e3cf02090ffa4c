package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"proveout/schema"
)

func init() { commands = append(commands, newSchema) }

func newSchema() *cobra.Command {
	return &cobra.Command{
		Use:   "schema [NAME]",
		Short: "Print a published JSON Schema, or list their names",
		Example: `  proveout schema
  proveout schema job > job.schema.json`,
		Args:      cobra.MaximumNArgs(1),
		ValidArgs: schema.Names(),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				for _, n := range schema.Names() {
					fmt.Fprintln(c.OutOrStdout(), n)
				}
				return nil
			}
			text, ok := schema.Get(args[0])
			if !ok {
				return fmt.Errorf("there is no schema %q; there are: %s", args[0], strings.Join(schema.Names(), ", "))
			}
			_, err := c.OutOrStdout().Write(text)
			return err
		},
	}
}

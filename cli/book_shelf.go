package cli

import (
	"fmt"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"proveout/book"
	"proveout/strict"
)

// bookFiles are fault books a command takes beside the built-in ones.
type bookFiles []string

func (f *bookFiles) flag(c *cobra.Command) {
	c.Flags().StringArrayVar((*[]string)(f), "book", nil, "file of a fault book to take beside the built-in ones; may be given again")
}

// shelf gives the built-in books and those of the files; one with an error in it is
// refused whole, since odds from half a book are worth nothing.
func (f bookFiles) shelf(c *cobra.Command) ([]*book.Book, error) {
	books, err := book.Builtin()
	if err != nil || len(f) == 0 {
		return books, err
	}
	books = slices.Clone(books)
	for _, name := range f {
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		b, problems := book.Load(name, text)
		if b != nil && len(strict.Errors(problems)) == 0 {
			problems = append(problems, book.CheckOverlay(b, books...)...)
			books = append(books, b)
		}
		errs := strict.Errors(problems)
		for _, p := range errs {
			fmt.Fprintln(c.ErrOrStderr(), p.String())
		}
		if n := len(errs); n > 0 {
			return nil, refusal{fmt.Sprintf("the fault book %s has %d error%s; \"proveout book check %s\" lists everything", name, n, plural(n), name)}
		}
	}
	return books, nil
}

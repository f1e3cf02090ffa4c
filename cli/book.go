package cli

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"proveout/book"
	"proveout/strict"
)

func init() { commands = append(commands, newBook) }

func newBook() *cobra.Command {
	c := &cobra.Command{
		Use:   "book",
		Short: "List, show and check fault books",
		Long: `A fault book is knowledge as data: components, the ways they fail, the tests
that tell them apart, and how likely each outcome is, with a source beside every
number. docs/fault-book.md describes the form.`,
	}
	c.AddCommand(newBookList(), newBookShow(), newBookCheck())
	return c
}

func newBookList() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "list", Short: "List the built-in fault books", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, args []string) error {
			books, err := book.Builtin()
			if err != nil {
				return err
			}
			if asJSON {
				type row struct {
					ID      string `json:"id"`
					Version string `json:"version"`
					Title   string `json:"title"`
					Faults  int    `json:"faults"`
					Tests   int    `json:"tests"`
				}
				rows := []row{}
				for _, b := range books {
					rows = append(rows, row{b.ID, b.Version, b.Title, len(b.Faults), len(b.Tests)})
				}
				return writeJSON(c.OutOrStdout(), rows)
			}
			for _, b := range books {
				fmt.Fprintf(c.OutOrStdout(), "%s %s  %s (%d faults, %d tests)\n", b.ID, b.Version, b.Title, len(b.Faults), len(b.Tests))
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

func newBookShow() *cobra.Command {
	var raw, asJSON bool
	c := &cobra.Command{
		Use: "show ID", Short: "Show a built-in fault book: symptoms, facts, suspects, tests with their outcomes",
		Example: `  proveout book show petrol-misfire
  proveout book show --raw petrol-misfire > my-book.yaml`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			text, ok := book.BuiltinText(args[0])
			if !ok {
				return fmt.Errorf("there is no built-in fault book %q; \"proveout book list\" lists them", args[0])
			}
			if raw {
				_, err := c.OutOrStdout().Write(text)
				return err
			}
			books, err := book.Builtin()
			if err != nil {
				return err
			}
			for _, b := range books {
				if !book.SameID(b.ID, args[0]) {
					continue
				}
				if asJSON {
					return writeJSON(c.OutOrStdout(), bookListing(b))
				}
				p := &page{w: c.OutOrStdout()}
				writeBook(p, b)
				return p.err
			}
			return nil
		},
	}
	c.Flags().BoolVar(&raw, "raw", false, "print the book's own text")
	c.Flags().BoolVar(&asJSON, "json", false, "print ids, names and outcomes as JSON")
	return c
}

// listing is what a person writing a job needs of a book.
type listing struct {
	ID       string            `json:"id"`
	Version  string            `json:"version"`
	Symptoms map[string]string `json:"symptoms"`
	Facts    map[string]string `json:"facts"`
	Faults   []faultRow        `json:"faults"`
	Tests    []testRow         `json:"tests"`
}

type faultRow struct {
	ID        string `json:"id"`
	Component string `json:"component"`
	Name      string `json:"name"`
}

type testRow struct {
	ID       string            `json:"id"`
	Name     string            `json:"name"`
	Per      string            `json:"per"`
	Feature  string            `json:"feature,omitempty"`
	Versus   string            `json:"versus,omitempty"`
	Outcomes []string          `json:"outcomes"`
	Texts    map[string]string `json:"texts"`
	Direct   []string          `json:"direct,omitempty"`
}

func bookListing(b *book.Book) listing {
	l := listing{ID: b.ID, Version: b.Version, Symptoms: b.Symptoms, Facts: map[string]string{}}
	for id, f := range b.Context {
		l.Facts[id] = f.Ask
	}
	for _, f := range b.Faults {
		l.Faults = append(l.Faults, faultRow{f.ID, f.Component, f.Name})
	}
	for _, t := range b.Tests {
		r := testRow{ID: t.ID, Name: t.Name, Per: t.Per, Direct: t.Direct, Texts: map[string]string{}}
		if t.Reads != nil {
			r.Feature, r.Versus = t.Reads.Feature, t.Reads.Versus
		}
		for _, o := range t.Outcomes {
			r.Outcomes = append(r.Outcomes, o.ID)
			r.Texts[o.ID] = o.Text
		}
		l.Tests = append(l.Tests, r)
	}
	return l
}

func writeBook(p *page, b *book.Book) {
	p.para("", fmt.Sprintf("%s %s: %s", b.ID, b.Version, b.Title), 0)
	p.head("Symptoms (complaint.symptoms)")
	for _, id := range sortedKeys(b.Symptoms) {
		p.para(fmt.Sprintf("  %-22s ", id), b.Symptoms[id], 25)
	}
	p.head("Facts (history.facts: yes or no)")
	for _, id := range sortedKeys(b.Context) {
		p.para(fmt.Sprintf("  %-22s ", id), b.Context[id].Ask, 25)
	}
	p.head("Suspects")
	for _, f := range b.Faults {
		p.para(fmt.Sprintf("  %-30s ", f.ID), f.Name, 33)
	}
	p.head("Tests (readings: test, with result or value)")
	for _, t := range b.Tests {
		p.para(fmt.Sprintf("  %s  ", t.ID), fmt.Sprintf("%s; for each %s", t.Name, strings.ReplaceAll(t.Per, "_", " ")), 4)
		if t.Reads != nil {
			p.para("    ", fmt.Sprintf("value of feature %s, compared with %s", t.Reads.Feature, t.Reads.Versus), 4)
		}
		for _, o := range t.Outcomes {
			p.para(fmt.Sprintf("    %-20s ", o.ID), o.Text, 25)
		}
	}
}

func newBookCheck() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "check [FILE...]", Short: "Check fault books, or the built-in ones, and report every problem with its line",
		Example: `  proveout book check
  proveout book check my-book.yaml`,
		RunE: func(c *cobra.Command, args []string) error {
			books, problems, err := booksToCheck(args)
			if err != nil {
				return err
			}
			problems = append(problems, book.Check(books...)...)
			if asJSON {
				if problems == nil {
					problems = []book.Problem{}
				}
				if err := writeJSON(c.OutOrStdout(), problems); err != nil {
					return err
				}
			} else {
				for _, p := range problems {
					fmt.Fprintln(c.OutOrStdout(), p.String())
				}
			}
			if n := len(strict.Errors(problems)); n > 0 {
				return refusal{fmt.Sprintf("%d error%s", n, plural(n))}
			}
			if !asJSON {
				fmt.Fprintf(c.OutOrStdout(), "%d book%s checked, no error\n", len(books), plural(len(books)))
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the problems as JSON")
	return c
}

func booksToCheck(files []string) ([]*book.Book, []book.Problem, error) {
	if len(files) == 0 {
		books, err := book.Builtin()
		return books, nil, err
	}
	var books []*book.Book
	var problems []book.Problem
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			return nil, nil, err
		}
		b, ps := book.Load(name, data)
		problems = append(problems, ps...)
		if b != nil {
			books = append(books, b)
		}
	}
	return books, problems, nil
}

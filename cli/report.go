package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"proveout/report"
	"proveout/shop"
	"proveout/text"
)

func init() { commands = append(commands, newReport) }

func newReport() *cobra.Command {
	var out, paper, printed, lang, units string
	var own bookFiles
	c := &cobra.Command{
		Use:   "report JOBDIR --out FILE.pdf",
		Short: "Print complaint, cause, correction and proof on one page",
		Long: `Writes the page that the customer reads and signs and a reviewer can check, as
HTML (the accessible form, which holds everything), PDF (one page) or plain text:
by the ending of --out. A job that is not proven prints as that.

The date on the page is that of the hand-over, or today's where the job file has
none; --date sets another. The same job and date give the same bytes.`,
		Example: `  proveout report examples/06-proven-on-the-hill --out report.pdf
  proveout report JOBDIR --out report.html
  proveout report JOBDIR --out report.pdf --paper letter --date 2026-11-25`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if out == "" {
				return errors.New("--out is missing; write for example --out report.pdf, report.html or report.txt")
			}
			size, ok := map[string]report.Paper{"a4": report.A4, "letter": report.Letter}[strings.ToLower(paper)]
			if !ok {
				return fmt.Errorf("--paper %q is not known; write a4 or letter", paper)
			}
			ending := strings.ToLower(filepath.Ext(out))
			if ending != ".pdf" && ending != ".html" && ending != ".txt" {
				return fmt.Errorf("--out %s: the ending says what is written; give it .pdf, .html or .txt", out)
			}
			if !text.Known(lang) {
				return fmt.Errorf("--language %q is not known; write en or de", lang)
			}
			if units != string(text.SI) && units != string(text.US) {
				return fmt.Errorf("--units %q is not known; write si or us", units)
			}
			books, err := own.shelf(c)
			if err != nil {
				return err
			}
			r, err := shop.Report(args[0], shop.Options{Books: books, Program: Version(), Progress: progress(c)})
			if err != nil {
				return err
			}
			day, err := printedOn(printed, r)
			if err != nil {
				return err
			}
			sheet := report.Make(report.Input{Report: *r, Printed: day, Text: text.For(lang, text.System(units))})
			var data []byte
			switch ending {
			case ".pdf":
				data, err = report.PDF(sheet, size)
			case ".txt":
				data = report.Text(sheet)
			default:
				data, err = report.HTML(sheet)
			}
			if err != nil {
				return fmt.Errorf("the report could not be set: %w", err)
			}
			if err := os.WriteFile(out, data, 0o644); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: %s, %d kB\n", out, strings.ToLower(sheet.State.Word), (len(data)+999)/1000)
			return nil
		},
	}
	f := c.Flags()
	own.flag(c)
	f.StringVar(&out, "out", "", "file to write, ending in .pdf, .html or .txt")
	f.StringVar(&paper, "paper", "a4", "of a PDF: a4 or letter")
	f.StringVar(&lang, "language", text.Source, "of the page: en or de")
	f.StringVar(&units, "units", string(text.SI), "on the page: si or us")
	f.StringVar(&printed, "date", "", "date on the page, for example 2026-11-25")
	return c
}

// printedOn is the date on the page: as asked, else of the hand-over, else today.
func printedOn(asked string, r *shop.ReportAnswer) (time.Time, error) {
	if asked != "" {
		t, err := time.Parse("2006-01-02", asked)
		if err != nil {
			return t, fmt.Errorf("--date %q is no date; write for example 2026-11-25", asked)
		}
		return t, nil
	}
	if h := r.Proof.HandedOver; h != nil {
		for _, form := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02"} {
			if t, err := time.Parse(form, strings.TrimSpace(h.At)); err == nil {
				return t, nil
			}
		}
	}
	return time.Now(), nil
}

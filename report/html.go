package report

import (
	"bytes"
	_ "embed"
	"html/template"

	"proveout/figure"
)

// CSS is the style of a sheet, for screen and print.
//
//go:embed report.css
var CSS string

//go:embed report.tmpl
var source string

var pages = template.Must(template.New("report").Funcs(template.FuncMap{
	// A drawing escapes its own texts.
	"svg": func(d figure.Drawing) template.HTML { return template.HTML(d.SVG()) },
}).Parse(source))

// HTML sets the sheet as a page of its own: nothing is loaded from elsewhere. It
// holds everything; what would not fit on one printed page is marked not to print.
func HTML(s Sheet) ([]byte, error) {
	var b bytes.Buffer
	fitted, err := fit(s, Letter, screenShare)
	if err != nil {
		return nil, err
	}
	err = pages.ExecuteTemplate(&b, "page", struct {
		Sheet Sheet
		CSS   template.CSS
	}{fitted, template.CSS(CSS)})
	return b.Bytes(), err
}

// Fragment sets the sheet as one article for a page that has its own head and
// carries CSS.
func Fragment(s Sheet) (template.HTML, error) {
	var b bytes.Buffer
	fitted, err := fit(s, Letter, screenShare)
	if err != nil {
		return "", err
	}
	err = pages.ExecuteTemplate(&b, "sheet", fitted)
	return template.HTML(b.String()), err
}

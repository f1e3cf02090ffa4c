package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html"
	"html/template"
	"io/fs"
	"math"
	"net/http"
	"path"
	"strings"

	"proveout/text"
	"proveout/unit"
)

//go:embed pages
var pageFiles embed.FS

// sheet is one page to be shown.
type sheet struct {
	Name    string // of its template: pages/NAME.html
	Title   string
	Cells   []cell // of the strip along the top, between the mark and "Saved here"
	Saved   string // when the work on it was last written to this machine's disk
	Styles  []string
	Scripts []string // names of assets
	Status  int      // 0: 200
	View    any      // what the template's "main" is executed with
}

// cell is one ruled field of the title strip.
type cell struct {
	Name, Value string
	Grow        bool // takes the room that is left
	Wide        bool // left out on a phone
	Roomy       bool // left out on a tablet too
}

// frame is what the layout itself needs.
type frame struct {
	sheet
	Lang  string
	Theme string // "", bay, dark: "" follows the device
	Here  string // path of this page, to come back to
}

// language and system choose one of the template sets.
type choice struct {
	lang   string
	system text.System
}

// pageSet holds every page's template for every language and system of units:
// the functions that write text are bound when a template is read.
type pageSet map[choice]map[string]*template.Template

func loadPages(assets map[string]*asset) (pageSet, error) {
	names, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		return nil, err
	}
	out := pageSet{}
	for _, l := range text.Languages() {
		for _, system := range []text.System{text.SI, text.US} {
			set := map[string]*template.Template{}
			base, err := template.New("layout").Funcs(functions(text.For(l.Code, system), assets)).ParseFS(pageFiles, "pages/shared/*.html")
			if err != nil {
				return nil, err
			}
			for _, name := range names {
				t, err := base.Clone()
				if err != nil {
					return nil, err
				}
				if t, err = t.ParseFS(pageFiles, name); err != nil {
					return nil, err
				}
				set[strings.TrimSuffix(path.Base(name), ".html")] = t
			}
			out[choice{l.Code, system}] = set
		}
	}
	return out, nil
}

// functions are what templates may call.
func functions(p *text.Printer, assets map[string]*asset) template.FuncMap {
	return template.FuncMap{
		"t":     func(key string, args ...any) string { return p.T(key, args...) },
		"ts":    func(key string, args []any) string { return p.T(key, args...) },
		"n":     func(key string, n int, args ...any) string { return p.N(key, n, args...) },
		"say":   func(s string) template.HTML { return said(p, s) },
		"num":   func(v float64, decimals int) string { return p.Number(v, decimals) },
		"sig":   p.Significant,
		"int":   func(n int) string { return p.Int(int64(n)) },
		"eg":    text.For(text.Source, p.System()).Say, // a value as an example of what is typed, with the point that is always read
		"unit":  func(u unit.Unit) string { return text.UnitWord(p.Unit(u)) },
		"clock": p.Clock,
		"date":  p.Date,
		"lang":  p.Lang,
		"asset": func(name string) (string, error) { return address(assets, name) },
		"map":   pairs,
		"first": func(n int, v []testView) []testView { return v[:min(n, len(v))] },
		"after": func(n int, v []testView) []testView { return v[min(n, len(v)):] },
		"dots":  svgDots,
		"grave": byWord,
		// Times of a procedure.
		"minsec":  minsec,
		"drain":   drain,
		"seconds": func(s float64) string { return p.Number(math.Ceil(s-1e-9), 0) },
	}
}

// said writes what the engine says in the page's language; what stays in its own (the
// text of a fault book) is marked, so that a screen reader changes its voice.
func said(p *text.Printer, s string) template.HTML {
	var b strings.Builder
	for _, x := range p.Pieces(s) {
		if x.Lang == p.Lang() {
			b.WriteString(html.EscapeString(x.Text))
			continue
		}
		lead := x.Text[:len(x.Text)-len(strings.TrimLeft(x.Text, " "))]
		trail := x.Text[len(strings.TrimRight(x.Text, " ")):]
		if words := strings.TrimSpace(x.Text); words != "" {
			b.WriteString(lead + `<span lang="` + x.Lang + `">` + html.EscapeString(words) + `</span>` + trail)
		}
	}
	return template.HTML(b.String())
}

// saidIn writes a text of the catalogue with what the engine says in its place {1}.
func saidIn(p *text.Printer, key, s string) template.HTML {
	const place = "\x00"
	before, after, has := strings.Cut(p.T(key, place), place)
	out := template.HTML(html.EscapeString(before))
	if has {
		out += said(p, s) + template.HTML(html.EscapeString(after))
	}
	return out
}

// pairs makes a map from names and values, to hand several to a shared template.
func pairs(kv ...any) (map[string]any, error) {
	if len(kv)%2 != 0 {
		return nil, fmt.Errorf("map wants names and values in pairs, got %d arguments", len(kv))
	}
	out := map[string]any{}
	for i := 0; i < len(kv); i += 2 {
		name, ok := kv[i].(string)
		if !ok {
			return nil, fmt.Errorf("map: %v is no name", kv[i])
		}
		out[name] = kv[i+1]
	}
	return out, nil
}

// page renders a sheet whole before the first byte goes out: a template that
// fails gives an error page, never half a page.
func (s *Server) page(w http.ResponseWriter, r *http.Request, sh sheet) error {
	p := s.printer(r)
	t := s.pages[choice{p.Lang(), p.System()}][sh.Name]
	if t == nil {
		return fmt.Errorf("there is no page %s", sh.Name)
	}
	f := frame{sheet: sh, Lang: p.Lang(), Theme: theme(r), Here: r.URL.RequestURI()}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "layout", f); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	if h.Get("Cache-Control") == "" {
		h.Set("Cache-Control", "private, no-cache") // kept, but asked about each time
	}
	h.Add("Vary", "Cookie, Accept-Language")
	if sh.Status != 0 && sh.Status != http.StatusOK {
		w.WriteHeader(sh.Status)
	} else {
		sum := sha256.Sum256(b.Bytes())
		h.Set("Etag", `"`+hex.EncodeToString(sum[:8])+`"`)
		if matches(r, h.Get("Etag")) {
			w.WriteHeader(http.StatusNotModified)
			return nil
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

package text

import (
	"cmp"
	"embed"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"

	"proveout/unit"
)

// What the engine says (findings, odds, proof) is written where it is found out, in
// English: a figure and its sentence stay together, and a record says the same to
// everybody. For another language this file has those sentences by their English
// form, with {1}, {2} where something stands: a closed set, held to the sources by a
// test. What stands there is looked up again; what is not in the set (the text of a
// fault book or a procedure, what somebody typed, a file's name) stays as it is.

//go:embed engine
var engineFiles embed.FS

// Piece is a stretch of text in one language.
type Piece struct{ Text, Lang string }

// phrase is one sentence with its places: lits[0] {args[0]} lits[1] ... as the source
// has them, and the translation.
type phrase struct {
	lits   []string
	args   []int
	to     string
	weight int // letters of lits: the more, the closer it fits
}

type phrases struct {
	whole map[string]string
	open  map[byte][]phrase // by the first byte of lits[0]; 0: begins with a place
}

var spoken = mustLoadEngine()

// plain has what the engine says with a hint for whoever writes a job file, as a screen
// and the report say it in English: in their own words, with where to tap. The command
// line does not come by here and prints the hint.
var plain = mustLoadSaid(Source)

func mustLoadEngine() map[string]*phrases {
	out := map[string]*phrases{}
	for _, l := range languages {
		if l.Code == Source {
			continue
		}
		out[l.Code] = mustLoadSaid(l.Code)
	}
	return out
}

func mustLoadSaid(lang string) *phrases {
	data, err := engineFiles.ReadFile(path.Join("engine", lang+".yaml"))
	if err != nil {
		panic(err)
	}
	var m map[string]string
	if err := yaml.Unmarshal(data, &m); err != nil {
		panic(fmt.Errorf("engine/%s.yaml: %w", lang, err))
	}
	return newPhrases(m)
}

var placeholder = regexp.MustCompile(`\{\d+\}`)

func newPhrases(m map[string]string) *phrases {
	ps := &phrases{whole: map[string]string{}, open: map[byte][]phrase{}}
	for from, to := range m {
		at := placeholder.FindAllStringIndex(from, -1)
		if len(at) == 0 {
			ps.whole[from] = to
			continue
		}
		x := phrase{to: to}
		begin := 0
		for _, a := range at {
			n, _ := strconv.Atoi(from[a[0]+1 : a[1]-1])
			x.lits, x.args = append(x.lits, from[begin:a[0]]), append(x.args, n)
			x.weight += a[0] - begin
			begin = a[1]
		}
		x.lits = append(x.lits, from[begin:])
		x.weight += len(from) - begin
		key := byte(0)
		if x.lits[0] != "" {
			key = x.lits[0][0]
		}
		ps.open[key] = append(ps.open[key], x)
	}
	for _, list := range ps.open {
		slices.SortFunc(list, func(a, b phrase) int {
			return cmp.Or(b.weight-a.weight, strings.Compare(strings.Join(a.lits, "\x00"), strings.Join(b.lits, "\x00")))
		})
	}
	return ps
}

// match gives what stands in the places, by their numbers.
func (x *phrase) match(s string) (map[int]string, bool) {
	last := x.lits[len(x.lits)-1]
	if len(s) < x.weight || !strings.HasPrefix(s, x.lits[0]) || !strings.HasSuffix(s, last) {
		return nil, false
	}
	s = s[len(x.lits[0]):]
	if len(s) < len(last) {
		return nil, false
	}
	s = s[:len(s)-len(last)]
	out := map[int]string{}
	for i, n := range x.args {
		here := s
		if i+1 < len(x.args) {
			k := strings.Index(s, x.lits[i+1])
			if k < 0 {
				return nil, false
			}
			here, s = s[:k], s[k+len(x.lits[i+1]):]
		}
		if here == "" {
			return nil, false
		}
		out[n] = here
	}
	return out, true
}

// Say writes what the engine said in the printer's language and units, as far as it
// is known in it.
func (p *Printer) Say(s string) string {
	var b strings.Builder
	for _, x := range p.Pieces(s) {
		b.WriteString(x.Text)
	}
	return b.String()
}

// Template is Say for a sentence that a page fills in by itself: its places {0}, {1} stay.
func (p *Printer) Template(s string) string {
	// A place is written as a figure, which no language changes.
	const figure = "90000"
	lead, trail := s[:len(s)-len(strings.TrimLeft(s, " "))], s[len(strings.TrimRight(s, " ")):]
	if w := strings.Trim(s, " ,"); spoken[p.lang] != nil && (w == "and" || w == "or") {
		return strings.Replace(s, w, spoken[p.lang].whole[w], 1)
	}
	said := placeholder.ReplaceAllStringFunc(strings.TrimSpace(s), func(x string) string { return figure + x[1:len(x)-1] })
	return lead + filled.ReplaceAllString(p.Say(said), "{$1}") + trail
}

var filled = regexp.MustCompile(`90000(\d)`)

// Pieces is Say with each stretch by its language: what stays English can be marked.
func (p *Printer) Pieces(s string) []Piece {
	if s = strings.TrimSpace(s); s == "" {
		return nil
	}
	ps := spoken[p.lang]
	if ps == nil {
		return []Piece{{p.figures(p.plain(s)), Source}}
	}
	out := joined(p.translate(ps, s, 0))
	for i := range out {
		if out[i].Lang == p.lang {
			out[i].Text = p.figures(out[i].Text)
		}
	}
	return out
}

// plain puts a text of the engine into the words of the screen, sentence by sentence and
// clause by clause: the longest stretch that is in the set first.
func (p *Printer) plain(s string) string {
	if at := sentenceEnd.FindStringIndex(s); at != nil {
		cut := at[0] + strings.Index(s[at[0]:at[1]], " ")
		return p.plain(s[:cut]) + " " + p.plain(s[cut+1:])
	}
	clauses := strings.Split(s, "; ")
	if len(clauses) > mostParts {
		return s
	}
	for n := len(clauses); n > 0; n-- {
		for from := 0; from+n <= len(clauses); from++ {
			said, ok := p.one(plain, strings.Join(clauses[from:from+n], "; "), 0)
			if !ok || bare.MatchString(clauses[from]) {
				continue
			}
			text := ""
			for _, x := range said {
				text += x.Text
			}
			out := text
			if from > 0 {
				out = p.plain(strings.Join(clauses[:from], "; ")) + "; " + out
			}
			if rest := clauses[from+n:]; len(rest) > 0 {
				out += "; " + p.plain(strings.Join(rest, "; "))
			}
			return out
		}
	}
	return s
}

// deepest is how far places are looked into: a sentence in a sentence in a list.
const deepest = 8

// fewLetters is how much of a text must be the phrase itself where what stands in its
// places is not known.
const fewLetters = 12

// mostParts is how long a list is looked into: beyond it, it is somebody's own text.
const mostParts = 40

// sentenceEnd is where one sentence ends and the next begins.
var sentenceEnd = regexp.MustCompile(`(?:[^\s.][^\s.]|[\d)])[.!?] (?:≈|\p{Lu}|")`)

func (p *Printer) translate(ps *phrases, s string, depth int) []Piece {
	if depth > deepest {
		return []Piece{{s, Source}}
	}
	// Sentence by sentence.
	for _, at := range sentenceEnd.FindAllStringIndex(s, -1) {
		cut := at[0] + strings.Index(s[at[0]:at[1]], " ")
		out := p.translate(ps, s[:cut], depth+1)
		// The blank goes with what stands before it.
		return append(append(out, Piece{" ", ""}), p.translate(ps, s[cut+1:], depth)...)
	}
	if out, ok := p.one(ps, s, depth); ok {
		return out
	}
	body, dot := strings.CutSuffix(s, ".")
	for _, sep := range []string{"; ", ": ", ", "} {
		parts := strings.Split(body, sep)
		if sep == ": " {
			// Only behind a head that is known: "Cylinder 4: ...".
			parts = strings.SplitN(body, sep, 2)
			if _, ok := p.one(ps, parts[0], depth+1); !ok {
				continue
			}
		}
		if len(parts) < 2 || len(parts) > mostParts {
			continue
		}
		var out []Piece
		known := false
		for len(parts) > 0 {
			if out != nil {
				out = append(out, Piece{sep, ""})
			}
			// As many parts as the set has as one: a name may hold a comma.
			n := len(parts)
			if out == nil {
				n--
			}
			var x []Piece
			for ok := false; n > 1; n-- {
				if x, ok = p.one(ps, strings.Join(parts[:n], sep), depth+1); ok {
					break
				}
			}
			if x == nil {
				n, x = 1, p.translate(ps, parts[0], depth+1)
			}
			known = known || slices.ContainsFunc(x, func(q Piece) bool { return q.Lang == p.lang })
			out, parts = append(out, x...), parts[n:]
		}
		if known {
			if dot {
				out = append(out, Piece{".", ""})
			}
			return out
		}
	}
	// "cylinder 1 and cylinder 2": only where both sides are known, since "and" may
	// stand inside the text of a book.
	for _, w := range []string{" and ", " or "} {
		to, ok := ps.whole[strings.TrimSpace(w)]
		a, b, has := strings.Cut(body, w)
		if !ok || !has {
			continue
		}
		x, y := p.translate(ps, a, depth+1), p.translate(ps, b, depth+1)
		foreign := func(q Piece) bool { return q.Lang == Source }
		if !slices.ContainsFunc(x, foreign) && !slices.ContainsFunc(y, foreign) {
			out := append(append(x, Piece{" " + to + " ", p.lang}), y...)
			if dot {
				out = append(out, Piece{".", ""})
			}
			return out
		}
	}
	return []Piece{{s, Source}}
}

// one translates a text that is one of the set, with its full stop or without and
// with a capital or without.
func (p *Printer) one(ps *phrases, s string, depth int) ([]Piece, bool) {
	if bare.MatchString(s) {
		return []Piece{{s, p.lang}}, true
	}
	body, dot := strings.CutSuffix(s, ".")
	for _, form := range []string{body, lowerFirst(body)} {
		out, ok := p.known(ps, form, depth)
		if !ok {
			continue
		}
		if form != body {
			out[0].Text = upperFirst(out[0].Text)
		}
		if dot {
			out = append(out, Piece{".", ""})
		}
		return out, true
	}
	return nil, false
}

func (p *Printer) known(ps *phrases, s string, depth int) ([]Piece, bool) {
	if to, ok := ps.whole[s]; ok {
		return []Piece{{to, p.lang}}, true
	}
	if s == "" {
		return nil, false
	}
	if m := named.FindStringSubmatch(s); m != nil && bare.MatchString(m[2]) {
		if to, ok := ps.whole[m[1]]; ok {
			return []Piece{{to + " " + m[2], p.lang}}, true
		}
	}
	for _, key := range []byte{s[0], 0} {
		for i := range ps.open[key] {
			x := &ps.open[key][i]
			args, ok := x.match(s)
			if !ok {
				continue
			}
			var out []Piece
			begin := 0
			loose, few := false, x.weight < fewLetters && !strings.HasSuffix(x.lits[0], ": ")
			for _, at := range placeholder.FindAllStringIndex(x.to, -1) {
				n, _ := strconv.Atoi(x.to[at[0]+1 : at[1]-1])
				out = append(out, Piece{x.to[begin:at[0]], p.lang})
				if few && strings.ContainsAny(args[n], ",;:") {
					loose = true
					break
				}
				arg := p.translate(ps, args[n], depth+1)
				loose = loose || slices.ContainsFunc(arg, func(q Piece) bool { return q.Lang == Source })
				out = append(out, arg...)
				begin = at[1]
			}
			if loose && few {
				continue // "{1} to {2}" would fit many a text that is not of the set
			}
			out = append(out, Piece{x.to[begin:], p.lang})
			return slices.DeleteFunc(out, func(q Piece) bool { return q.Text == "" }), true
		}
	}
	return nil, false
}

// joined puts neighbours of one language together; what has none (a comma between
// two parts) goes with what stands before it.
func joined(in []Piece) []Piece {
	var out []Piece
	for _, x := range in {
		if n := len(out); n > 0 && (x.Lang == "" || x.Lang == out[n-1].Lang) {
			out[n-1].Text += x.Text
			continue
		}
		out = append(out, x)
	}
	return out
}

// units as figures of the engine carry them.
const units = `(?: ?(?:%|[mkM]?V|[mµk]?A|Ah|[kM]?Hz|[mµu]?s|min|h|[cmk]?m|in|kPa|bar|psi|degC|degF|°[CF]?|N·?m|rpm|[mkM]?ohm|[mkM]?Ω|g|g/s|l|ml|km/h|mph|[kM]?S/s|kB|MB|deg|m?H))?`

// bare is a figure with its unit, a code or the address of a module: nothing to
// translate.
var bare = regexp.MustCompile(`^[≈<>±×÷+−-]?\s?\d[\d.,]*` + units + `(?: ± \d[\d.]*` + units + `)?$|^[PCBU][0-9A-F]{4}$|^[0-9A-F]{3}$`)

// named is a name with its figure behind it: "plug gap 1.05 mm".
var named = regexp.MustCompile(`^(\D.*?\D) ([≈<>±−-]?\d[^a-z]*(?:[^ ]+| points)?(?: ± .*)?)$`)

// quantity is a number, or two with "to" or ± between them, before a unit that is
// written or read differently by people.
var quantity = regexp.MustCompile(`(± )?([-−]?\d+(?:\.\d+)?)( (?:to|bis|and|und) | ± )?([-−]?\d+(?:\.\d+)?)? (degC|°C|kPa|bar|mm|km/h|km|Nm|ohm|kohm|mohm|us|lambda)\b`)

// decimals is a number with a decimal point that stands alone.
var decimals = regexp.MustCompile(`(^|[^\w.,/])([-−]?\d+)\.(\d+)($|[^\w./]|\.($|\s))`)

// figures writes the numbers of a sentence with the units of the printer's system
// and the mark of its language.
func (p *Printer) figures(s string) string {
	s = quantity.ReplaceAllStringFunc(s, func(q string) string {
		m := quantity.FindStringSubmatch(q)
		symbol := map[string]string{"°C": "degC"}[m[5]]
		from, err := unit.Parse(cmp.Or(symbol, m[5]))
		if err != nil {
			return q
		}
		to := p.Unit(from)
		// A width is a difference: it has no zero of its own.
		first := m[1] + inUnit(m[2], from, to, m[1] != "")
		if m[4] == "" {
			return first + m[3] + " " + UnitWord(to)
		}
		return first + m[3] + inUnit(m[4], from, to, m[3] == " ± ") + " " + UnitWord(to)
	})
	if mark, _ := p.marks(); mark != "." {
		for range 2 { // neighbours share the sign between them
			s = decimals.ReplaceAllString(s, "${1}${2}"+mark+"${3}${4}")
		}
	}
	return s
}

// inUnit rewrites a typed number in another unit, as finely as it was typed.
func inUnit(typed string, from, to unit.Unit, step bool) string {
	v, err := strconv.ParseFloat(strings.Replace(typed, "−", "-", 1), 64)
	if err != nil || from == to {
		return typed
	}
	_, frac, _ := strings.Cut(typed, ".")
	fine := 1.0
	for range frac {
		fine /= 10
	}
	size := to.FromSI(from.SI(fine)) - to.FromSI(from.SI(0)) // of the last digit
	places := 0
	for size < 0.95 && places < 6 {
		size *= 10
		places++
	}
	x := to.FromSI(from.SI(v))
	if step {
		x -= to.FromSI(from.SI(0))
	}
	return strconv.FormatFloat(x, 'f', places, 64)
}

func lowerFirst(s string) string { return withFirst(s, unicode.ToLower) }
func upperFirst(s string) string { return withFirst(s, unicode.ToUpper) }

func withFirst(s string, f func(rune) rune) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError {
		return s
	}
	return string(f(r)) + s[n:]
}

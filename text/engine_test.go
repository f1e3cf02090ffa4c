package text

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/procedure"
	"proveout/procedure/table"
)

func TestSay(t *testing.T) {
	for _, c := range []struct {
		system System
		say    string
		want   string
	}{
		{SI, "Cylinder 4: plug gap 1.78 mm, too high; limits 0.90 to 1.10 mm (usual values of the fault book).", "Zylinder 4: Elektrodenabstand 1,78 mm, zu hoch; Grenzen 0,90 bis 1,10 mm (übliche Werte des Fehlerbuchs)."},
		{SI, "Engine: coolant temperature, warmed up 91.0 degC ± 1.4 degC.", "Motor: Kühlmitteltemperatur, betriebswarm 91,0 °C ± 1,4 °C."},
		{US, "Engine: coolant temperature, warmed up 91.0 degC ± 1.4 degC.", "Motor: Kühlmitteltemperatur, betriebswarm 195,8 °F ± 2,5 °F."},
		{SI, "Improved, not proven: driven clean where it failed before, expected less than 1 time in 20 if nothing had changed. Proven by road would take 620 s inside the fault conditions, about 31 climbs and 3 h 10 min on the road more.",
			"Besser, nicht bewiesen: sauber gefahren, wo es vorher versagte; wäre nichts geändert, wäre das weniger als 1-mal von 20 zu erwarten. Der Beweis durch Fahren braucht noch 620 s unter den Fehlerbedingungen, etwa 31 Steigungen und 3 h 10 min Fahrt."},
		{SI, "2025 to 2775 rpm, load 60 to 100 %, gear 3, coolant over 70 °C", "2025 bis 2775/min, Last 60 bis 100 %, Gang 3, Kühlmittel über 70 °C"},
		{SI, "somebody wrote 1.5 of this", "somebody wrote 1.5 of this"},
		{SI, "Most likely: gap too wide (1.5 turns), cylinder 2 (≈ 74 %), not shown: no direct test of the part has been done.", "Am wahrscheinlichsten: gap too wide (1.5 turns), Zylinder 2 (≈ 74 %), nicht gezeigt: Das Teil ist noch nicht direkt geprüft."},
		{SI, "Module 7E8: no confirmed codes; warning lamp off, 0 codes, all monitors complete; 6 parameters.", "Steuergerät 7E8: keine bestätigten Codes; Warnlampe aus, 0 Codes, alle Selbsttests fertig; 6 Messwerte."},
		{SI, "Cylinder 2: firing line, snap over idle on one placement 1.78, 12 % above the middle of the others; established (1.12 times ± 0.05, placed 3 times over 54 firings, could be chance: 0.4 %).",
			"Zylinder 2: Zündspannung, Gasstoß durch Leerlauf in einer Lage 1,78, 12 % über der Mitte der anderen; steht fest (1,12-fach ± 0,05, 3-mal angelegt über 54 Zündungen, könnte Zufall sein: 0,4 %)."},
	} {
		if got := For("de", c.system).Say(c.say); got != c.want {
			t.Errorf("%s\n is %s\nwant %s", c.say, got, c.want)
		}
	}
	if got := For("en", US).Say("fuel pressure at load 344 kPa, 20 to 30 mm"); got != "fuel pressure at load 49.9 psi, 0.79 to 1.18 in" {
		t.Error(got)
	}
}

// saidIn are the files whose sentences reach a page or the report.
var saidIn = []string{
	"../proof/*.go", "../reason/states.go", "../reason/tell.go", "../reason/conflict.go", "../reason/standard.go", "../reason/overrule.go", "../reason/tried.go", "../reason/there_back.go",
	"../shop/headline.go", "../shop/prove*.go", "../shop/tried.go", "../shop/disagree.go", "../shop/session.go", "../shop/codes.go", "../shop/fill.go", "../shop/report.go",
	"../measure/judge*.go", "../measure/words.go",
}

// notSaid are literals of these files that no page shows: errors and parts of formats.
var notSaid = regexp.MustCompile(`is no range|^ of $|^ on $|share of one whole|%d suspects: only|has a prior|%q|^%s %s$|sha256|^≈|^our choice|trade.md|middle of the limits|^(lower|upper) limit|\\n|^proveout prove says|^complaint[.]symptoms|^proof[.]conditions`)

// TestWhatTheEngineSaysIsTranslated looks for every stretch of words of those files in
// the translated set: a sentence that was added or changed is found here.
func TestWhatTheEngineSaysIsTranslated(t *testing.T) {
	number := regexp.MustCompile(`\d+(\.\d+)?`)
	verb := regexp.MustCompile(`%[-+0-9.]*[a-zA-Z]`)
	for lang, ps := range spoken {
		var keys strings.Builder
		for k := range ps.whole {
			keys.WriteString(number.ReplaceAllString(k, "#") + "\n")
		}
		for _, list := range ps.open {
			for _, x := range list {
				keys.WriteString(number.ReplaceAllString(strings.Join(x.lits, "#"), "#") + "\n")
			}
		}
		all, checked := keys.String(), 0
		for _, f := range evidence.Catalogue() {
			if ps.whole[f.Name] == "" {
				t.Errorf("%s: the feature %q has no name", lang, f.Name)
			}
			if ps.whole[strings.TrimSuffix(f.Matters(), ".")] == "" && lang != "en" {
				t.Errorf("%s: why %s matters is not translated", lang, f.ID)
			}
		}
		for _, pattern := range saidIn {
			names, err := filepath.Glob(pattern)
			if err != nil || len(names) == 0 {
				t.Fatalf("%s: %v", pattern, err)
			}
			for _, name := range names {
				if strings.HasSuffix(name, "_test.go") {
					continue
				}
				for _, lit := range literals(t, name) {
					if notSaid.MatchString(lit) {
						continue
					}
					for _, stretch := range verb.Split(strings.ReplaceAll(lit, "%%", "\x01"), -1) {
						stretch = strings.ReplaceAll(stretch, "\x01", "%")
						for _, words := range regexp.MustCompile(`[.] |[.]$`).Split(stretch, -1) {
							words = strings.Trim(words, " .,;:()\n")
							if len(strings.Fields(words)) < 2 {
								continue
							}
							checked++
							words = number.ReplaceAllString(words, "#")
							if !strings.Contains(all, words) && !strings.Contains(all, lowerFirst(words)) && !strings.Contains(all, upperFirst(words)) {
								t.Errorf("%s: %s says %q, which engine/%s.yaml does not have", lang, name, words, lang)
							}
						}
					}
				}
			}
		}
		if checked < 300 {
			t.Errorf("only %d stretches of words were looked for", checked)
		}
	}
}

// fileTalk is what only whoever writes files needs: keys of the job file, ids, commands.
var fileTalk = regexp.MustCompile(`\b(?:write|check) [a-z_]+:|proveout [a-z]|\(known: |\(as: |docs/|\b[a-z]+_[a-z_]+\b|\{\w+:`)

// A sentence of the engine with a hint for whoever writes a file is said on a screen and
// in the report in the words of the screen, in each language.
func TestNoFileTalkIsSaid(t *testing.T) {
	verb := regexp.MustCompile(`%[-+0-9.]*[a-zA-Z]`)
	hints := 0
	say := func(name, s string) {
		if fileTalk.MatchString(s) {
			hints++
		}
		for _, l := range languages {
			if got := For(l.Code, SI).Say(s); fileTalk.MatchString(got) {
				t.Errorf("%s: %s says %q", l.Code, name, got)
			}
		}
	}
	for _, pattern := range append([]string{"../measure/*.go", "../job/readings.go", "../job/words.go", "../job/place.go"}, saidIn...) {
		names, err := filepath.Glob(pattern)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %v", pattern, err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			for _, lit := range sentences(t, name) {
				if !notSaid.MatchString(lit) && !strings.HasPrefix(lit, "; ") { // a part of one
					say(name, verb.ReplaceAllString(lit, "7"))
				}
			}
		}
	}
	for _, s := range []string{
		`the trace has nothing in it; what kind of capture this is could not be found out (no rpm); write kind: with one of parameter_log, ignition_primary`,
		`"misfire_laod" is not known here; did you mean "misfire_load"? write one of: misfire_load, misfire_idle`,
		`no test "rail" in the books; there is a feature of that name: write feature: fuel.rail and a value`,
		`test "spark_colour" has no number; write result: one of blue, orange`,
	} {
		for _, l := range languages {
			if got := For(l.Code, SI).Say(s); strings.Contains(got, "write ") || strings.Contains(got, "parameter_log") {
				t.Errorf("%s: %q", l.Code, got)
			}
		}
	}
	if hints < 20 {
		t.Errorf("only %d hints were looked at", hints)
	}
	if got := For("en", US).Say("Nothing of it is in the set; it stays, word for word: 7 mm."); got != "Nothing of it is in the set; it stays, word for word: 0.28 in." {
		t.Error(got)
	}
}

// sentences are the literals of a file that are said, errors among them: those with a
// blank in them, but for imports and tags.
func sentences(t *testing.T, name string) []string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec, *ast.StructType:
			return false
		case *ast.BasicLit:
			if s, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING && len(strings.Fields(s)) > 2 {
				out = append(out, s)
			}
		}
		return true
	})
	return out
}

// literals are the strings of a Go file but for imports, tags and errors.
func literals(t *testing.T, name string) []string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec, *ast.StructType:
			return false
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "Errorf" || s.Sel.Name == "New") {
				return false
			}
		case *ast.BasicLit:
			if s, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING {
				out = append(out, s)
			}
		}
		return true
	})
	return out
}

// What a page says by itself while the server is away is translated whole: no word of
// its texts stays English, and its places stay.
func TestTextsOfAPageByItself(t *testing.T) {
	m, _, err := procedure.LoadShipped("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	tb, err := table.Compile(m, "")
	if err != nil {
		t.Fatal(err)
	}
	p := For("de", SI)
	for key, s := range tb.Texts {
		got := p.Template(s)
		want, have := placeholder.FindAllString(s, -1), placeholder.FindAllString(got, -1)
		slices.Sort(want)
		slices.Sort(have)
		if got == s && s != "" || !slices.Equal(want, have) {
			t.Errorf("%s: %q is %q", key, s, got)
		}
		for _, x := range p.Pieces(placeholder.ReplaceAllString(strings.TrimSpace(s), "7")) {
			if x.Lang == Source && strings.ContainsAny(x.Text, "abcdefghijklmnopqrstuvwxyz") && key != "and" && key != "or" {
				t.Errorf("%s: %q stays English in %q", key, x.Text, s)
			}
		}
	}
}

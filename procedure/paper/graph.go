package paper

import (
	"bytes"
	"fmt"
	"strings"

	"proveout/procedure"
)

// Graph draws the order of a procedure as SVG: a box for each step, below the steps
// it needs, left and right side by side, and the ways back as dashed lines on the
// right with their recovery class. Command, watch, wait and hazard are marked
// by word and shape, not by colour, so that it prints in black and white.
func Graph(m *procedure.Machine) []byte {
	const boxW, boxH, gapX, gapY, pad = 210, 52, 24, 30, 20
	depth := make([]int, len(m.Steps))
	rows := map[int][]int{}
	last := 0
	for i := range m.Steps {
		if m.Steps[i].Origin() == "recovery" {
			continue
		}
		for _, n := range m.Steps[i].NeedsDone() {
			depth[i] = max(depth[i], depth[n]+1)
		}
		rows[depth[i]] = append(rows[depth[i]], i)
		last = max(last, depth[i])
	}
	wide := 1
	for _, r := range rows {
		wide = max(wide, len(r))
	}
	x, y := make([]int, len(m.Steps)), make([]int, len(m.Steps))
	total := wide*boxW + (wide-1)*gapX
	for d := 0; d <= last; d++ {
		w := len(rows[d])*boxW + (len(rows[d])-1)*gapX
		for k, i := range rows[d] {
			x[i] = pad + (total-w)/2 + k*(boxW+gapX)
			y[i] = pad + d*(boxH+gapY)
		}
	}
	var b bytes.Buffer
	ways := waysBack(m)
	W, H := total+2*pad+10+14*len(ways), pad*2+(last+1)*(boxH+gapY)
	fmt.Fprintf(&b, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\" viewBox=\"0 0 %d %d\" font-family=\"sans-serif\" role=\"img\">\n", W, H, W, H)
	fmt.Fprintf(&b, "<title>%s</title>\n<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n", escape(m.File.Title), W, H)
	for d := 0; d <= last; d++ {
		for _, i := range rows[d] {
			for _, n := range m.Steps[i].NeedsDone() {
				fmt.Fprintf(&b, "<path d=\"M%d %dV%dH%dV%d\" fill=\"none\" stroke=\"#14161b\"/>\n", x[n]+boxW/2, y[n]+boxH, y[i]-gapY/2, x[i]+boxW/2, y[i])
			}
		}
	}
	for d := 0; d <= last; d++ {
		for _, i := range rows[d] {
			box(&b, &m.Steps[i], x[i], y[i], boxW, boxH)
		}
	}
	for k, way := range ways {
		rail := total + 2*pad + 10 + 14*k
		fmt.Fprintf(&b, "<path d=\"M%d %dH%dV%dH%d\" fill=\"none\" stroke=\"#14161b\" stroke-dasharray=\"3 3\"><title>%s</title></path>\n", x[way.from]+boxW, y[way.from]+boxH/2, rail, y[way.to]+boxH/2+4, x[way.to]+boxW, escape(way.text))
		fmt.Fprintf(&b, "<path d=\"M%d %dl6 -4v8z\" fill=\"#14161b\"/><text x=\"%d\" y=\"%d\" font-size=\"10\">%s</text>\n", x[way.to]+boxW, y[way.to]+boxH/2+4, rail-12, y[way.from]+boxH/2-3, way.class)
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// wayBack is a recovery that leads to an earlier step.
type wayBack struct {
	from, to    int
	class, text string
}

// waysBack lists the recoveries that begin again from an earlier step, each pair once.
func waysBack(m *procedure.Machine) []wayBack {
	var out []wayBack
	seen := map[[2]int]bool{}
	for i := range m.Steps {
		for k, r := range m.Steps[i].Recovers {
			for j := range m.Steps {
				st := &m.Steps[j]
				if r.Rule.From == "" || st.ID != r.Rule.From && st.Base() != r.Rule.From || seen[[2]int{i, j}] {
					continue
				}
				seen[[2]int{i, j}] = true
				out = append(out, wayBack{i, j, r.Rule.Class, "If " + procedure.KindText[procedure.Kinds[k]] + ": " + r.Rule.Text})
			}
		}
	}
	return out
}

func box(b *bytes.Buffer, st *procedure.MStep, x, y, w, h int) {
	stroke, dash := 1, ""
	if st.Command {
		stroke = 4 // what moves is drawn heavy
	}
	if st.Origin() != "step" {
		dash = " stroke-dasharray=\"5 3\""
	}
	fmt.Fprintf(b, "<g><title>%s</title><rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\" fill=\"#fff\" stroke=\"#14161b\" stroke-width=\"%d\"%s/>", escape(st.Do), x, y, w, h, stroke, dash)
	fmt.Fprintf(b, "<text x=\"%d\" y=\"%d\" font-size=\"14\" font-weight=\"bold\">%s</text>", x+8, y+19, escape(st.ID))
	var marks []string
	if st.Command {
		marks = append(marks, "command")
	}
	if st.RestSeconds > 0 {
		marks = append(marks, "wait "+duration(st.RestSeconds))
	}
	if len(st.WatchedBy()) > 0 {
		marks = append(marks, "watched")
	}
	if st.Need > 1 {
		marks = append(marks, fmt.Sprintf("%d ways", st.Need))
	}
	worst := ""
	for _, word := range procedure.SignalWords {
		for _, hz := range st.Hazards {
			if worst == "" && hz.Word == word {
				worst = word
			}
		}
	}
	if worst != "" {
		marks = append(marks, worst)
	}
	fmt.Fprintf(b, "<text x=\"%d\" y=\"%d\" font-size=\"11\">%s</text></g>\n", x+8, y+39, escape(strings.Join(marks, ", ")))
}

func escape(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", "\"", "&quot;").Replace(s)
}

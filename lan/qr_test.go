package lan

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"strconv"
	"strings"
	"testing"
)

const url = "http://192.168.1.20:8040/join"

// grid reads the modules back from each form the code is drawn in; they must agree
// with the picture that rsc.io/qr draws itself.
func grid(t *testing.T, c Code) [][]bool {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(c.PNG()))
	if err != nil {
		t.Fatal(err)
	}
	n := c.side()
	if w := img.Bounds().Dx(); w != 8*n {
		t.Fatalf("the picture is %d pixels wide, want %d", w, 8*n)
	}
	out := make([][]bool, n)
	for y := range n {
		out[y] = make([]bool, n)
		for x := range n {
			r, _, _, _ := img.At(8*x+4, 8*y+4).RGBA()
			out[y][x] = r < 0x8000
		}
	}
	return out
}

func TestTerminalShowsTheSameModules(t *testing.T) {
	c, err := NewCode(url)
	if err != nil {
		t.Fatal(err)
	}
	want := grid(t, c)
	for _, light := range []bool{false, true} {
		lines := strings.Split(strings.TrimSuffix(c.Terminal(light), "\n"), "\n")
		for y := range want {
			row := []rune(lines[y/2])
			for x := range want[y] {
				up := row[x] == '█' || row[x] == '▀'
				down := row[x] == '█' || row[x] == '▄'
				drawn := up
				if y%2 == 1 {
					drawn = down
				}
				if dark := drawn == light; dark != want[y][x] {
					t.Fatalf("light %v: module %d,%d is wrong", light, x, y)
				}
			}
		}
	}
}

func TestSVGShowsTheSameModules(t *testing.T) {
	c, err := NewCode(url)
	if err != nil {
		t.Fatal(err)
	}
	want := grid(t, c)
	svg := c.SVG(`Address <of> "this" & that`)
	d := xml.NewDecoder(strings.NewReader(svg))
	var path, label string
	for {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		if e, ok := tok.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if e.Name.Local == "path" && a.Name.Local == "d" {
					path = a.Value
				}
				if a.Name.Local == "aria-label" {
					label = a.Value
				}
			}
		}
	}
	if label != `Address <of> "this" & that` {
		t.Errorf("label %q", label)
	}
	got := map[[2]int]bool{}
	for _, m := range strings.Split(strings.TrimPrefix(path, "M"), "M") {
		xs, rest, _ := strings.Cut(m, " ")
		ys, rest, _ := strings.Cut(rest, "h")
		ns, _, _ := strings.Cut(rest, "v")
		x, _ := strconv.Atoi(xs)
		y, _ := strconv.Atoi(ys)
		n, _ := strconv.Atoi(ns)
		for i := range n {
			got[[2]int{x + i, y}] = true
		}
	}
	for y := range want {
		for x := range want[y] {
			if got[[2]int{x, y}] != want[y][x] {
				t.Fatalf("module %d,%d is wrong", x, y)
			}
		}
	}
}

func TestTooLongForACode(t *testing.T) {
	if _, err := NewCode(strings.Repeat("x", 4000)); err == nil {
		t.Error("4,000 bytes fit into no QR code")
	}
}

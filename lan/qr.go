package lan

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// quiet is the empty border a reader needs round a code, in modules (ISO/IEC 18004).
const quiet = 4

// Code is a QR code of a text.
type Code struct{ c *qr.Code }

// NewCode makes a code that can still be read with 15 % of it under grease (level M).
func NewCode(text string) (Code, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return Code{}, fmt.Errorf("make a QR code of %d bytes: %w", len(text), err)
	}
	return Code{c}, nil
}

// black reports a module; outside the code, in the border, all is white.
func (c Code) black(x, y int) bool { return c.c.Black(x, y) }

// side is the width of the code with its border, in modules.
func (c Code) side() int { return c.c.Size + 2*quiet }

// Terminal draws the code with half blocks, two rows in a line. Dark modules are left
// empty and light ones drawn, as most terminals are dark; with light set it is the
// other way round. Phones read both, a code without its border they do not.
func (c Code) Terminal(light bool) string {
	var b strings.Builder
	drawn := func(x, y int) bool { return y < c.side()-quiet && c.black(x, y) == light }
	for y := -quiet; y < c.side()-quiet; y += 2 {
		for x := -quiet; x < c.side()-quiet; x++ {
			switch up, down := drawn(x, y), drawn(x, y+1); {
			case up && down:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case down:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// SVG draws the code as one path, black on white in every theme: inverted codes are
// read by some phones only.
func (c Code) SVG(label string) string {
	var path strings.Builder
	for y := range c.c.Size {
		for x := 0; x < c.c.Size; x++ {
			if !c.black(x, y) {
				continue
			}
			run := 1
			for c.black(x+run, y) {
				run++
			}
			fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, run, run)
			x += run
		}
	}
	n := c.side()
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="%s" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path d="%s" fill="#000"/></svg>`,
		n, n, attribute.Replace(label), n, n, path.String())
}

var attribute = strings.NewReplacer("&", "&amp;", `"`, "&quot;", "<", "&lt;", ">", "&gt;")

// PNG draws the code as a picture with eight pixels to a module.
func (c Code) PNG() []byte { return c.c.PNG() }

package proof

import "fmt"

// The fault conditions are cut into side x side cells of engine speed and load.
// Our choice: at 375 rpm and 20 points that is 250 rpm and 13 points a cell, about
// what a driver can hold.
const side = 3

// Grid is a number of seconds, or of episodes, for each cell: first index load
// from low to high, second engine speed from low to high.
type Grid [side][side]float64

// Sum adds all cells.
func (g Grid) Sum() float64 {
	s := 0.0
	for _, row := range g {
		for _, v := range row {
			s += v
		}
	}
	return s
}

// each makes a grid from two by cell.
func each(a, b Grid, f func(a, b float64) float64) Grid {
	var out Grid
	for i := range out {
		for j := range out[i] {
			out[i][j] = f(a[i][j], b[i][j])
		}
	}
	return out
}

// capped counts each cell only up to its own need.
func capped(driven, need Grid) Grid {
	return each(driven, need, func(d, n float64) float64 { return min(d, n) })
}

// left is what each cell still needs.
func left(counted, need Grid) Grid {
	return each(counted, need, func(c, n float64) float64 { return max(0, n-c) })
}

// cell finds the cell of a moment inside the conditions.
func (c Conditions) cell(rpm, load float64) (i, j int) {
	at := func(v, lo, hi float64) int { return max(0, min(side-1, int(side*(v-lo)/(hi-lo)))) }
	return at(load, c.LoadLow, c.LoadHigh), at(rpm, c.RPMLow, c.RPMHigh)
}

// Cell is one cell as a person reads it.
type Cell struct{ RPMLow, RPMHigh, LoadLow, LoadHigh float64 }

// CellAt gives the bounds of a cell of a Grid.
func (c Conditions) CellAt(i, j int) Cell {
	r, l := (c.RPMHigh-c.RPMLow)/side, (c.LoadHigh-c.LoadLow)/side
	return Cell{c.RPMLow + float64(j)*r, c.RPMLow + float64(j+1)*r, c.LoadLow + float64(i)*l, c.LoadLow + float64(i+1)*l}
}

// String writes a cell: "2825 to 3075 rpm, load 74 to 87 %".
func (c Cell) String() string {
	return fmt.Sprintf("%.0f to %.0f rpm, load %.0f to %.0f %%", c.RPMLow, c.RPMHigh, c.LoadLow, c.LoadHigh)
}

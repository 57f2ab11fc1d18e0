package plate

import (
	"math"
	"strconv"
	"strings"
)

// generic is the outline of a windshield that is like none: quadratic curves and lines in a box
// of 1 by 1. Which glass it is only its sizes tell.
var generic = []struct {
	command byte
	points  [][2]float64
}{
	{'M', [][2]float64{{.1157, .0394}}},
	{'Q', [][2]float64{{.5, -.0394}, {.8843, .0394}}},
	{'Q', [][2]float64{{.9113, .0472}, {.9198, .0945}}},
	{'Q', [][2]float64{{.9624, .4751}, {.9992, .8425}}},
	{'Q', [][2]float64{{1.0049, .9108}, {.9709, .9239}}},
	{'Q', [][2]float64{{.5, 1.0761}, {.0291, .9239}}},
	{'Q', [][2]float64{{-.0049, .9108}, {.0008, .8425}}},
	{'Q', [][2]float64{{.0376, .4751}, {.0802, .0945}}},
	{'Q', [][2]float64{{.0887, .0472}, {.1157, .0394}}},
}

// outline is the generic outline at the size of a glass.
func outline(width, height float64) string {
	var d strings.Builder
	for _, step := range generic {
		d.WriteByte(step.command)
		for i, p := range step.points {
			if i > 0 {
				d.WriteByte(' ')
			}
			d.WriteString(num(p[0]*width) + " " + num(p[1]*height))
		}
	}
	return d.String() + "Z"
}

// around scales about the middle of the glass.
func around(width, height, x, y float64) string {
	return "translate(" + num(width/2) + " " + num(height/2) + ") scale(" + strconv.FormatFloat(x, 'f', 3, 64) + " " +
		strconv.FormatFloat(y, 'f', 3, 64) + ") translate(" + num(-width/2) + " " + num(-height/2) + ")"
}

// path writes the steps of a path: letters and the numbers behind them.
func path(steps ...any) string {
	var d strings.Builder
	isNumber := false
	for _, step := range steps {
		switch s := step.(type) {
		case string:
			d.WriteString(s)
			isNumber = false
			continue
		case int:
			step = float64(s)
		}
		if isNumber {
			d.WriteByte(' ')
		}
		d.WriteString(num(step.(float64)))
		isNumber = true
	}
	return d.String()
}

// num writes a length with at most one decimal.
func num(n float64) string {
	rounded := math.Round(n*10) / 10
	if rounded == 0 {
		rounded = 0 // never "-0"
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

func absolute(n float64) float64 { return math.Abs(n) }

// tagGap is how far a tag's middle stands from its damage, tagRoom how far from everything else.
const (
	tagGap  = 92
	tagRoom = 74
)

// tag puts the tags where they cover neither a damage nor one another, if they can.
func (s side) tag(marks []Mark) {
	directions := [][2]float64{{-.77, -.64}, {.77, .64}, {.77, -.64}, {-.77, .64}, {0, -1}, {-1, 0}, {1, 0}, {0, 1}}
	for i := range marks {
		m := &marks[i]
		gap := tagGap + m.Shape.Size/2
		for n := len(directions) - 1; n >= -1; n-- {
			// From the last to the first, so that the first that fits stands at the end.
			direction := directions[max(n, 0)]
			x, y := m.X+direction[0]*gap, m.Y+direction[1]*gap
			if n == len(directions)-1 || s.isFree(marks, i, x, y) {
				m.TagX, m.TagY = x, y
			}
		}
		dx, dy := m.TagX-m.X, m.TagY-m.Y
		long := math.Hypot(dx, dy)
		near, farther := (m.Shape.Size/2+4)/long, (long-30)/long
		m.Lead = path("M", m.X+dx*near, m.Y+dy*near, "L", m.X+dx*farther, m.Y+dy*farther)
	}
}

func (s side) isFree(marks []Mark, own int, x, y float64) bool {
	if x < 40 || y < 40 || x > s.width-40 || y > s.height-40 {
		return false
	}
	for i, m := range marks {
		if i != own && math.Hypot(m.X-x, m.Y-y) < tagRoom+m.Shape.Size/2 {
			return false
		}
		if i < own && math.Hypot(m.TagX-x, m.TagY-y) < tagRoom {
			return false
		}
	}
	return true
}

package document

import (
	_ "embed"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"cullet/services/invoices"
)

//go:embed font/Caladea-Regular.ttf
var bookFace []byte

//go:embed font/OpenSans-Regular.ttf
var dataFace []byte

//go:embed font/OpenSans-Semibold.ttf
var dataFaceBold []byte

// papers are the sizes that are printed on, in millimetres.
var papers = map[string]fpdf.SizeType{
	"LETTER": {Wd: 215.9, Ht: 279.4},
	"A4":     {Wd: 210, Ht: 297},
}

// colour is red, green, blue.
type colour struct{ r, g, b int }

// The colours: ink on paper, one green of a cut glass edge, and the red hairline of ledger paper.
var (
	ink    = colour{0x13, 0x24, 0x2c}
	quiet  = colour{0x43, 0x57, 0x5d}
	edge   = colour{0x07, 0x5c, 0x52}
	hair   = colour{0xc2, 0xd0, 0xca}
	ledger = colour{0xdc, 0xb9, 0xb0}
)

// style is how a text looks.
type style struct {
	family, weight string
	// size is in points.
	size   float64
	colour colour
}

// The styles. Serif stands for what is said, sans for what is looked up.
var (
	shopStyle    = style{"book", "", 19, ink}
	titleStyle   = style{"book", "", 25, edge}
	saysStyle    = style{"book", "", 13, ink}
	headStyle    = style{"book", "", 11.5, ink}
	bodyStyle    = style{"data", "", 9, ink}
	boldStyle    = style{"data", "B", 9, ink}
	totalStyle   = style{"data", "B", 11, ink}
	smallStyle   = style{"data", "", 7.5, quiet}
	cautionStyle = style{"data", "", 8, ink}
	fineStyle    = style{"data", "", 7, quiet}
	labelStyle   = style{"data", "", 7.5, quiet}
	quietStyle   = style{"data", "", 9, quiet}
	columnStyle  = style{"data", "B", 7.5, quiet}
)

// The measures of a sheet, in millimetres.
const (
	sideMargin = 20.0
	topMargin  = 12.0
	footMargin = 16.5
	// lead is the distance of two lines of body text.
	lead = 4.3
)

// about is what every page says of its document.
type about struct {
	// shop and name, "Invoice INV-000001", stand at the head and foot of pages.
	shop, name string
	// subject says for whom the document is, at is its date in the file.
	subject string
	at      time.Time
}

// sheet is a document while it is printed.
type sheet struct {
	pdf   *fpdf.Fpdf
	about about
	// invoice and words are of invoices and credit notes; empty on other papers.
	invoice invoices.Invoice
	words   words
	// left, right and bottom bound what is printed on; y is how far down the page is full.
	left, right, bottom, y float64
	// again prints what is repeated on top of a new page; nil where nothing is.
	again func()
}

func newSheet(size fpdf.SizeType, a about) *sheet {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: size})
	pdf.SetAutoPageBreak(false, 0)
	// Without sorting the library writes its objects in the order of a map.
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(a.at.UTC())
	pdf.SetModificationDate(a.at.UTC())
	pdf.SetLang("en-US")
	pdf.AddUTF8FontFromBytes("data", "", dataFace)
	pdf.AddUTF8FontFromBytes("data", "B", dataFaceBold)
	pdf.AddUTF8FontFromBytes("book", "", bookFace)
	s := &sheet{pdf: pdf, about: a, left: sideMargin, right: size.Wd - sideMargin, bottom: size.Ht - footMargin}
	pdf.SetTitle(a.name+", "+a.shop, true)
	pdf.SetAuthor(a.shop, true)
	pdf.SetSubject(a.subject, true)
	pdf.SetCreator("Cullet", true)
	pdf.SetProducer("Cullet", true)
	pdf.AddPage()
	s.band()
	return s
}

// use selects a style for measuring and printing.
func (s *sheet) use(st style) {
	s.pdf.SetFont(st.family, st.weight, st.size)
	s.pdf.SetTextColor(st.colour.r, st.colour.g, st.colour.b)
}

// face gives the style in which the text can be set: the book face knows Latin only, so that a
// Greek or Cyrillic name is set in the other face as a whole.
func face(st style, text string) style {
	if st.family == "book" && !isInBookFace(text) {
		st.family, st.size = "data", st.size*0.92
	}
	return st
}

// text prints one line with its baseline at y. Text must have been cleaned.
func (s *sheet) text(x, y float64, st style, text string) {
	s.use(st)
	s.pdf.Text(x, y, text)
}

// textRight prints one line that ends at x.
func (s *sheet) textRight(x, y float64, st style, text string) {
	s.use(st)
	s.pdf.Text(x-s.pdf.GetStringWidth(text), y, text)
}

// paragraph prints text in lines of at most width, the first baseline at y, and gives the baseline
// of the next line. It does not turn the page.
func (s *sheet) paragraph(x, y, width, leading float64, st style, text string) float64 {
	st = face(st, text)
	for _, line := range s.wrap(st, text, width) {
		s.text(x, y, st, line)
		y += leading
	}
	return y
}

// wrap cuts text into lines that are no wider than width, at spaces where it can.
func (s *sheet) wrap(st style, text string, width float64) []string {
	s.use(st)
	return s.cut(text, width)
}

// rule draws a horizontal line.
func (s *sheet) rule(x1, x2, y, thickness float64, c colour) {
	s.pdf.SetDrawColor(c.r, c.g, c.b)
	s.pdf.SetLineWidth(thickness)
	s.pdf.Line(x1, y, x2, y)
}

// upright draws a vertical line.
func (s *sheet) upright(x, y1, y2, thickness float64, c colour) {
	s.pdf.SetDrawColor(c.r, c.g, c.b)
	s.pdf.SetLineWidth(thickness)
	s.pdf.Line(x, y1, x, y2)
}

// band draws the upper edge: a bar that ends in three rows of dots, each smaller than the one
// above, as the painted edge of laminated glass does. It keeps off the paper's own edge, where
// office printers cannot print.
func (s *sheet) band() {
	s.pdf.SetFillColor(edge.r, edge.g, edge.b)
	s.pdf.Rect(s.left, topMargin, s.right-s.left, 1.5, "F")
	// A dot is a dash of no length with round ends: one stroke draws a row of them.
	const pitch = 1.6
	s.pdf.SetLineCapStyle("round")
	for row, radius := range []float64{0.46, 0.32, 0.19} {
		s.pdf.SetDashPattern([]float64{0, pitch}, 0)
		start := s.left + pitch/2 + float64(row%2)*pitch/2
		s.rule(start, s.right-pitch/4, topMargin+2.35+float64(row)*1.25, 2*radius, edge)
	}
	s.pdf.SetDashPattern([]float64{}, 0)
	s.pdf.SetLineCapStyle("butt")
	s.y = topMargin + 6
}

// need begins a new page unless so much height is left on this one.
func (s *sheet) need(height float64) {
	if s.y+height <= s.bottom {
		return
	}
	s.pdf.AddPage()
	s.band()
	y := s.y + 5
	s.text(s.left, y, boldStyle, s.fit(boldStyle, s.about.shop, (s.right-s.left)/2))
	s.textRight(s.right, y, quietStyle, s.about.name+", continued")
	s.y = y + 5
	if s.again != nil {
		s.again()
	}
}

// feet prints the foot of every page, now that their number is known.
func (s *sheet) feet() {
	pages := s.pdf.PageCount()
	for page := 1; page <= pages; page++ {
		s.pdf.SetPage(page)
		y := s.bottom + 4
		s.rule(s.left, s.right, y, 0.15, hair)
		name := s.fit(smallStyle, s.about.shop, (s.right-s.left)*0.6)
		s.text(s.left, y+3.8, smallStyle, name+"  ·  "+s.about.name)
		s.textRight(s.right, y+3.8, smallStyle, pageOf(page, pages))
	}
}

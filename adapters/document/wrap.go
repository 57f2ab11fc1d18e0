package document

import "strings"

// narrowest is the least width, in millimetres, in which text is set.
const narrowest = 12

// cut cuts text into lines that are no wider than width in the present font: at spaces where it
// can, inside a word where it must. It gives at least one line. A width that holds nothing is
// widened, so that it always ends.
func (s *sheet) cut(text string, width float64) []string {
	width = max(width, narrowest)
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		candidate := word
		if line != "" {
			candidate = line + " " + word
		}
		if s.pdf.GetStringWidth(candidate) <= width {
			line = candidate
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for s.pdf.GetStringWidth(word) > width {
			head := s.head(word, width)
			lines = append(lines, head)
			word = word[len(head):]
		}
		line = word
	}
	return append(lines, line)
}

// head gives the longest beginning of a word that is no wider than width, at least one character.
func (s *sheet) head(word string, width float64) string {
	end := 0
	for i, c := range word {
		next := i + len(string(c))
		if i > 0 && s.pdf.GetStringWidth(word[:next]) > width {
			return word[:i]
		}
		end = next
	}
	return word[:end]
}

// fit cuts text that is wider than width and ends it with an ellipsis; only running heads and feet
// use it, where the same words stand in full elsewhere.
func (s *sheet) fit(st style, text string, width float64) string {
	s.use(st)
	if s.pdf.GetStringWidth(text) <= width {
		return text
	}
	return strings.TrimSpace(s.head(text, width-s.pdf.GetStringWidth("…"))) + "…"
}

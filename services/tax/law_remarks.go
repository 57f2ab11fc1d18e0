package tax

import "cullet/services/finding"

// remarks are what single laws ask to be told beside the tax.
func (q *quotation) remarks(out *Result) []finding.Finding {
	switch q.st.head.Code {
	case "US-KY":
		return q.kentucky()
	case "US-HI":
		return q.hawaii(out)
	case "GB":
		return q.kingdom(out)
	}
	return nil
}

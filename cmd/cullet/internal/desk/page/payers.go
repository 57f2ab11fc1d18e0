package page

import "strings"

// anyFault tells whether a form was sent and not taken.
func anyFault(all []Field) bool {
	for _, f := range all {
		if f.Fault != "" {
			return true
		}
	}
	return false
}

func joined(all []string) string { return strings.Join(all, "; ") }

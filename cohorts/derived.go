package cohorts

import (
	"slices"

	"deltoid/schemas"
)

// Basis says which indication the field "indication" means in a criterion or a grouping.
type Basis string

// The bases.
const (
	Recorded Basis = "recorded" // the code of the export, as it is; also the zero value
	Settled  Basis = "settled"  // what the rule table made of the code and the findings
)

// The derived fields: columns that no export has and that criteria and groupings may name.
const (
	SettledIndication  = "settled_indication"  // the indication that the rules settle on
	RecordedIndication = "recorded_indication" // the indication of the export
	SettledBy          = "settled_by"          // the rule that settled it, or why none did
	HistoryField       = "history"             // what the shoulder had before: see [History]
)

// Derived returns the derived fields with their codes, for the study plan. They exist for linked tables; a ready table
// has those for which it has the fields that the rules need.
func Derived() []schemas.Field {
	indication := indicationField()
	settled, recorded := indication, indication
	settled.Name, settled.Title = SettledIndication, "Settled indication"
	settled.Description = "Indication that the rule table settles on from the recorded code and the findings."
	recorded.Name, recorded.Title = RecordedIndication, "Indication, recorded"
	return []schemas.Field{settled, recorded,
		{Name: SettledBy, Title: "How the indication was settled", Type: schemas.Code, Codes: settledByCodes(),
			Description: "Rule of the rule table that settled the indication, or why none did."},
		{Name: HistoryField, Title: "Procedure before", Type: schemas.Code, Codes: []schemas.CodeValue{
			{Value: First.Code(), Label: "First procedure", Description: "No replacement or plate of this shoulder is on record before."},
			{Value: Conversion.Code(), Label: "Conversion", Description: "The replacement took the place of a plate or a hemiarthroplasty."},
			{Value: AfterRevision.Code(), Label: "After a revision", Description: "Another prosthesis was on record before, with a revision between."}},
			Description: "What the shoulder had before its index procedure."},
	}
}

// indicationField returns the field "indication" of procedures, without its description's claim to be recorded.
func indicationField() schemas.Field {
	s, err := schemas.Shipped("procedures")
	if err != nil || s.Field("indication") == nil {
		return schemas.Field{Name: "indication", Type: schemas.Code}
	}
	return *s.Field("indication")
}

// Column returns the column of a field of the registry's table or of a derived field, or nil when there is none. The
// field "indication" is the one that the basis says.
func (r *Registry) Column(field string, b Basis) *schemas.Column {
	switch {
	case field == "indication" && b == Settled && r.derived[SettledIndication] != nil:
		return r.derived[SettledIndication]
	case field == RecordedIndication:
		return r.Table.Column("indication")
	case r.derived[field] != nil:
		return r.derived[field]
	}
	return r.Table.Column(field)
}

// fieldNames lists what [Registry.Column] knows.
func (r *Registry) fieldNames() []string {
	var names []string
	for _, c := range r.Table.Columns() {
		names = append(names, c.Field.Name)
	}
	for _, f := range Derived() {
		if r.Column(f.Name, Recorded) != nil && !slices.Contains(names, f.Name) {
			names = append(names, f.Name)
		}
	}
	return names
}

// derive makes the derived columns. The error is a fault of the program.
func (r *Registry) derive() error {
	r.derived = map[string]*schemas.Column{}
	if !r.Ready {
		r.derived[HistoryField] = r.historyColumn()
	}
	return r.settle()
}

func (r *Registry) historyColumn() *schemas.Column {
	codes := make([]int16, r.Table.Rows())
	for i := range codes {
		codes[i] = schemas.NoCode
	}
	for i := range r.Shoulders {
		codes[r.Shoulders[i].Row] = int16(r.Shoulders[i].History) - 1
	}
	return schemas.CodeColumn(derivedField(HistoryField), historyCodes[1:], codes)
}

func derivedField(name string) *schemas.Field {
	all := Derived()
	return &all[slices.IndexFunc(all, func(f schemas.Field) bool { return f.Name == name })]
}

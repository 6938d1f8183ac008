package demo

import "deltoid/schemas"

// export is one table of the registry, whatever its rows are.
type export struct {
	name    string
	columns []heading
	table   func(r *Records, in tongue) (*schemas.Table, error)
}

// heading is what the plan needs to know about a column.
type heading struct {
	field, header string
	list          *codeList
	dotted        bool
}

// exports lists the tables in the order in which they are written and explained.
var exports = []export{
	newExport("procedures", operationColumns, func(r *Records) [][]operation { return r.operations }),
	newExport("revisions", reoperationColumns, func(r *Records) [][]reoperation { return r.reoperations }),
	newExport("complications", complicationColumns, func(r *Records) [][]complication { return r.complications }),
	newExport("deaths", deathColumns, func(r *Records) [][]death { return r.deaths }),
	newExport("scores", scoreColumns, func(r *Records) [][]score { return r.scores }),
	newExport("contacts", contactColumns, func(r *Records) [][]contact { return r.contacts }),
}

func newExport[R any](name string, columns []column[R], rows func(*Records) [][]R) export {
	e := export{name: name}
	for _, c := range columns {
		e.columns = append(e.columns, heading{c.field, c.header, c.list, c.dotted})
	}
	e.table = func(r *Records, in tongue) (*schemas.Table, error) {
		s, err := schemas.Shipped(name)
		if err != nil {
			return nil, err
		}
		return table(s, "exports/"+name+".csv", columns, rows(r), in)
	}
	return e
}

// Tables returns the tables as they are after reading: our names and codes, by name of the schema. A cell that reading
// would not accept is missing and its row set aside; the rules about whole tables and about linked records have not been
// applied. The lines are those of the CSV exports.
func (r *Records) Tables() (map[string]*schemas.Table, error) {
	tables := make(map[string]*schemas.Table, len(exports))
	for _, e := range exports {
		t, err := e.table(r, ours)
		if err != nil {
			return nil, err
		}
		tables[e.name] = t
	}
	for _, d := range r.Defects {
		switch d.Kind {
		case ImpossibleDate, UnknownSide, MissingCell, OutOfRange:
			tables[d.Table].SetAside(d.Row)
		}
	}
	return tables, nil
}

var operationColumns = []column[operation]{
	{field: "patient", header: "PAT_NO", patient: func(r *operation) int32 { return r.patient }},
	{field: "side", header: "SIDE", list: sideCodes, code: func(r *operation) int16 { return r.side }},
	{field: "day", header: "OP_DATE", dotted: true, day: func(r *operation) int32 { return r.day }},
	{field: "procedure", header: "KIND", list: procedureCodes, code: func(r *operation) int16 { return r.procedure }},
	{field: "occasion", header: "OCCASION", list: occasionCodes, code: func(r *operation) int16 { return r.occasion }},
	{field: "indication", header: "DIAGNOSIS", list: indicationCodes, code: func(r *operation) int16 { return r.indication }},
	{field: "cuff", header: "CUFF", list: cuffCodes, code: func(r *operation) int16 { return r.cuff }},
	{field: "arthritis_grade", header: "OA_GRADE", list: gradeCodes, code: func(r *operation) int16 { return r.grade }},
	{field: "superior_migration", header: "MIGRATION", list: migrationCodes, code: func(r *operation) int16 { return r.migration }},
	{field: "acromiohumeral_distance", header: "AHD_MM", number: func(r *operation) float64 { return r.distance }},
	{field: "fracture", header: "BROKEN", list: fractureCodes, code: func(r *operation) int16 { return r.fracture }},
	{field: "tuberosities", header: "TUBER", list: tuberCodes, code: func(r *operation) int16 { return r.tuberosities }},
	{field: "head", header: "HEAD", list: headCodes, code: func(r *operation) int16 { return r.head }},
	{field: "deltoid_function", header: "DELTOID", list: deltoidCodes, code: func(r *operation) int16 { return r.deltoid }},
	{field: "age", header: "AGE", number: func(r *operation) float64 { return r.age }},
	{field: "sex", header: "SEX", list: sexCodes, code: func(r *operation) int16 { return r.sex }},
	{field: "bmi", header: "BMI", number: func(r *operation) float64 { return r.bmi }},
	{field: "asa", header: "ASA", list: asaCodes, code: func(r *operation) int16 { return r.asa }},
	{field: "hospital", header: "UNIT", list: hospitalCodes, code: func(r *operation) int16 { return r.hospital }},
	{field: "surgeon", header: "OPERATOR", list: surgeonCodes, code: func(r *operation) int16 { return r.surgeon }},
	{field: "humeral_implant", header: "HUM_CODE", list: humeralCodes, code: func(r *operation) int16 { return r.humeral }},
	{field: "glenoid_implant", header: "GLEN_CODE", list: glenoidCodes, code: func(r *operation) int16 { return r.glenoid }},
	{field: "fixation", header: "FIXATION", list: fixCodes, code: func(r *operation) int16 { return r.fixation }},
}

var reoperationColumns = []column[reoperation]{
	{field: "patient", header: "PAT_NO", patient: func(r *reoperation) int32 { return r.patient }},
	{field: "side", header: "SIDE", list: sideCodes, code: func(r *reoperation) int16 { return r.side }},
	{field: "day", header: "REV_DATE", day: func(r *reoperation) int32 { return r.day }},
	{field: "reason", header: "WHY", list: reasonCodes, code: func(r *reoperation) int16 { return r.reason }},
	{field: "exchanged", header: "CHANGED", list: exchangedCodes, code: func(r *reoperation) int16 { return r.exchanged }},
}

var complicationColumns = []column[complication]{
	{field: "patient", header: "PAT_NO", patient: func(r *complication) int32 { return r.patient }},
	{field: "side", header: "SIDE", list: sideCodes, code: func(r *complication) int16 { return r.side }},
	{field: "day", header: "FOUND_ON", day: func(r *complication) int32 { return r.day }},
	{field: "complication", header: "WHAT", list: complicationCodes, code: func(r *complication) int16 { return r.complication }},
	{field: "treatment", header: "TREATED", list: treatmentCodes, code: func(r *complication) int16 { return r.treatment }},
}

var deathColumns = []column[death]{
	{field: "patient", header: "PAT_NO", patient: func(r *death) int32 { return r.patient }},
	{field: "day", header: "DIED_ON", day: func(r *death) int32 { return r.day }},
}

var scoreColumns = []column[score]{
	{field: "patient", header: "PAT_NO", patient: func(r *score) int32 { return r.patient }},
	{field: "side", header: "SIDE", list: sideCodes, code: func(r *score) int16 { return r.side }},
	{field: "day", header: "ASKED_ON", day: func(r *score) int32 { return r.day }},
	{field: "instrument", header: "SCORE", list: instrumentCodes, code: func(r *score) int16 { return r.instrument }},
	{field: "value", header: "POINTS", number: func(r *score) float64 { return r.value }},
}

var contactColumns = []column[contact]{
	{field: "patient", header: "PAT_NO", patient: func(r *contact) int32 { return r.patient }},
	{field: "day", header: "SEEN_ON", day: func(r *contact) int32 { return r.day }},
	{field: "kind", header: "HOW", list: contactCodes, code: func(r *contact) int16 { return r.kind }},
}

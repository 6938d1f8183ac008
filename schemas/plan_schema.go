package schemas

import (
	_ "embed"
	"slices"
)

// planFile is the one file in files that does not describe a table.
const planFile = "plan.schema.json"

//go:embed files/plan.schema.json
var planSchema []byte

// PlanSchema returns the JSON Schema (draft 2020-12) of a study plan, for editors and other programs. It describes the
// shape of a plan; whether its files, fields, codes and endpoints exist is found when the plan is read.
func PlanSchema() []byte { return slices.Clone(planSchema) }

package schemas

import (
	_ "embed"
	"slices"
)

// planFile and powerFile describe plans, and no table.
const (
	planFile  = "plan.schema.json"
	powerFile = "power.schema.json"
)

//go:embed files/plan.schema.json
var planSchema []byte

// PlanSchema returns the JSON Schema (draft 2020-12) of a study plan, for editors and other programs. It describes the
// shape of a plan; whether its files, fields, codes and endpoints exist is found when the plan is read.
func PlanSchema() []byte { return slices.Clone(planSchema) }

//go:embed files/power.schema.json
var powerSchema []byte

// PowerSchema returns the JSON Schema (draft 2020-12) of a plan for power. Whether the assumptions of a design are possible
// together is found when the plan is read.
func PowerSchema() []byte { return slices.Clone(powerSchema) }

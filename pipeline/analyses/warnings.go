package analyses

import (
	"fmt"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// seriousLoss is the share of a table's rows from which on their loss is said on top of the report and not only in the
// ledger. A choice of this program.
const seriousLoss = 0.05

// silent reports whether the exports of a registry cannot tell of an event, however often it happened.
func silent(r *cohorts.Registry, event cohorts.Cause) bool {
	tables := map[string]bool{}
	for _, l := range r.Ledgers {
		tables[l.Table] = true
	}
	switch {
	case r.Ready:
		return false
	case event == cohorts.Died:
		return !tables["deaths"]
	default:
		return !tables["revisions"] && len(r.Revisions) == 0
	}
}

// unheardOf refuses an analysis that waits for an event of which no export could tell: its answer would be that it never
// happens.
func unheardOf(p *plan.Plan, r *cohorts.Registry, asked plan.Analysis) error {
	e := p.Endpoint(asked.Endpoint)
	if e == nil || !silent(r, e.Event) {
		return nil
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: asked.Place,
		What:    fmt.Sprintf("the endpoint %q waits for revisions, and no export tells of any", e.ID),
		Allowed: "a table of revisions, or procedures some of which have the occasion revision",
		Remedy:  "add the table revisions under exports, even if it has no row"}
}

// warnings are what has to be known before any number of the report is read: tables that lost much, and events of which
// no export tells.
func warnings(c *cohorts.Cohort) []report.Text {
	var texts []report.Text
	for _, l := range c.Registry.Ledgers {
		if lost := l.SetAside + l.Unlinked; float64(lost) > seriousLoss*float64(l.Read) {
			texts = append(texts, say("Read with care: of ", value("accounts."+l.Table+".read"), " rows of "+l.Table+", ",
				value("accounts."+l.Table+".set-aside"), " were set aside and ", value("accounts."+l.Table+".unlinked"),
				" could not be linked; nothing below knows of them."))
		}
	}
	if silent(c.Registry, cohorts.Died) {
		texts = append(texts, report.Words("Read with care: no export tells of deaths, so patients who died count as under observation."))
	}
	return texts
}

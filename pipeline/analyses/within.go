package analyses

import (
	"fmt"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
)

// within narrows the cohort to the shoulders that an analysis alone is about.
func within(c *cohorts.Cohort, asked plan.Analysis) (*cohorts.Cohort, error) {
	if asked.Within == nil {
		return c, nil
	}
	narrowed, step, err := c.Keep(*asked.Within)
	if err != nil {
		return nil, err
	}
	if len(narrowed.Shoulders) == 0 {
		return nil, &schemas.Problem{Kind: schemas.CohortProblem, Where: asked.Within.Place,
			What: fmt.Sprintf("no shoulder of the cohort is left for the analysis %q: %d left because of %q, %d of them because a value is missing",
				asked.ID, step.Left, asked.Within.Label, step.LeftUnknown),
			Remedy: "widen the criterion, or put it right if it does not say what you mean"}
	}
	return narrowed, nil
}

// withinWords ends the heading of an analysis that is about a part of the cohort.
func withinWords(asked plan.Analysis) string {
	if asked.Within == nil {
		return ""
	}
	return ", within “" + asked.Within.Label + "”"
}

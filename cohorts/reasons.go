package cohorts

import (
	"slices"

	"deltoid/schemas"
)

// Reasons says for which reason each episode ended that ended by a revision of its endpoint.
type Reasons struct {
	Codes  []string // the reasons that occur, in the order of their list; the empty code, for none recorded, is last
	Labels []string // of the codes
	Absent []string // labels of the reasons of the list that do not occur
	Of     []int32  // for each episode: position in Codes, -1 where it did not end by the endpoint's revision
}

// Reasons finds the reasons behind the episodes of an endpoint that is a revision. When several revisions that count fell
// on the day that ended an episode, the first one with a reason speaks.
func (c *Cohort) Reasons(e Endpoint, eps *Episodes) Reasons {
	of := make([]string, len(eps.Cause))
	occurs := map[string]bool{}
	for i, cause := range eps.Cause {
		if cause == 1 {
			member := int32(i)
			if eps.Shoulder != nil {
				member = eps.Shoulder[i]
			}
			of[i] = c.reasonAt(c.Shoulders[member], eps.Exit[i], e)
			occurs[of[i]] = true
		}
	}
	out := Reasons{Of: make([]int32, len(of))}
	field := c.reasonField()
	for _, code := range field.Codes {
		if occurs[code.Value] {
			out.Codes, out.Labels = append(out.Codes, code.Value), append(out.Labels, code.Label)
			delete(occurs, code.Value)
		} else if len(e.Reasons) == 0 || slices.Contains(e.Reasons, code.Value) {
			out.Absent = append(out.Absent, code.Label)
		}
	}
	if occurs[""] {
		out.Codes, out.Labels = append(out.Codes, ""), append(out.Labels, NotRecorded)
	}
	for i := range of {
		out.Of[i] = -1
		if eps.Cause[i] == 1 {
			out.Of[i] = int32(slices.Index(out.Codes, of[i]))
		}
	}
	return out
}

// reasonAt returns the reason of the revision that ended an episode on its last day.
func (c *Cohort) reasonAt(position, exit int32, e Endpoint) string {
	day := c.Registry.Shoulders[position].Day + exit
	for _, r := range c.Registry.RevisionsOf(int(position)) {
		if r.SecondStage || e.Counts == ComponentExchanged && r.Change == ChangeOfNothing {
			continue
		}
		if r.Day == day && r.Reason != "" && (len(e.Reasons) == 0 || slices.Contains(e.Reasons, r.Reason)) {
			return r.Reason
		}
	}
	return ""
}

// reasonField is where reasons are listed.
func (c *Cohort) reasonField() schemas.Field {
	if f := c.Registry.Table.Schema.Field("reason"); f != nil {
		return *f
	}
	if s, err := schemas.Shipped("revisions"); err == nil && s.Field("reason") != nil {
		return *s.Field("reason")
	}
	return schemas.Field{}
}

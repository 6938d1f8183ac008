package cohorts

import "errors"

// Episodes turns the shoulders of the cohort into episodes.
func (c *Cohort) Episodes(e Endpoint, f FollowUp, g Grouping) (*Episodes, error) {
	return nil, errors.New("cohorts: episodes are not built yet")
}

package cohorts

import (
	"errors"

	"deltoid/schemas"
)

// Link joins the checked tables of a study, by name, into a registry.
func Link(tables map[string]*schemas.Table, f FollowUp, found *schemas.Findings) (*Registry, error) {
	return nil, errors.New("cohorts: linking is not built yet")
}

// FromReady makes a registry of a ready table.
func FromReady(t *schemas.Table, found *schemas.Findings) (*Registry, error) {
	return nil, errors.New("cohorts: linking is not built yet")
}

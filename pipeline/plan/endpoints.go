package plan

import (
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// declared is an endpoint of the plan with its place.
type declared struct {
	endpoint cohorts.Endpoint
	broken   bool // something in it is wrong, so what refers to it is not judged
}

// endpointName is the form of the name of an endpoint; it becomes a part of the ids of estimates.
var endpointName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]{0,63}$`)

// causes can compete with an endpoint.
var causes = words([]cohorts.Cause{cohorts.Died, cohorts.OtherRevision, cohorts.OtherEvent})

// endpoints reads what follow-up waits for.
func (r *reader) endpoints(n *yaml.Node) {
	if n == nil {
		return
	}
	r.ends = map[string]*declared{}
	pairs := r.pairs(n, "endpoints")
	if n.Kind == yaml.MappingNode && len(n.Content) == 0 {
		r.malformed(n, "endpoints is empty", "at least one endpoint",
			"say what follow-up waits for, for instance \"revision: {}\"")
	}
	for _, p := range pairs {
		if !endpointName.MatchString(p.key.Value) {
			r.malformed(p.key, "the endpoint is called "+quote(p.key.Value),
				"a letter, then letters, digits, hyphens and underscores, at most 64",
				"give it such a name; words for the reader go under label")
		}
		before := len(r.faults)
		e := r.endpoint(p)
		r.ends[e.ID] = &declared{endpoint: e, broken: len(r.faults) > before}
		r.plan.Endpoints = append(r.plan.Endpoints, e)
	}
}

func (r *reader) endpoint(p pair) cohorts.Endpoint {
	s := r.section(p.value, "endpoints."+plain(p.key.Value), "label", "event", "counts", "reasons", "competing")
	e := cohorts.Endpoint{ID: p.key.Value, Event: cohorts.Revised}
	if v := s.values["event"]; v != nil {
		word, _ := r.choice(v, "event", words([]cohorts.Cause{cohorts.Revised, cohorts.Died, cohorts.OtherEvent}))
		e.Event = cohorts.Cause(word)
		r.recorded(v, e.Event)
	}
	if v := s.values["reasons"]; v != nil {
		r.reasons(v, &e)
	}
	if v := s.values["counts"]; v != nil {
		r.counts(v, &e)
	}
	if v := s.values["competing"]; v != nil {
		for _, cause := range r.choices(v, "competing", causes) {
			e.Competing = append(e.Competing, cohorts.Cause(cause.Value))
			r.competes(cause, cohorts.Cause(cause.Value), &e)
		}
	}
	e.Label = r.defaultLabel(&e)
	if v := s.values["label"]; v != nil {
		e.Label, _ = r.text(v, "label")
	}
	return e
}

// recorded reports a cause that the declared tables cannot tell of.
func (r *reader) recorded(n *yaml.Node, c cohorts.Cause) {
	switch {
	case r.registry() != "procedures":
	case c == cohorts.Died && r.tables["deaths"] == nil:
		r.wrong(n, "died is asked for, but no export holds deaths", "died with a table deaths under exports",
			"add the table, or remove died")
	case c == cohorts.OtherEvent:
		r.wrong(n, "other_event is asked for, but linked tables record no other event",
			"other_event with a ready table", "remove other_event")
	}
}

// reasons reads the reasons for revision that count.
func (r *reader) reasons(n *yaml.Node, e *cohorts.Endpoint) {
	if e.Event != cohorts.Revised && e.Event != "" {
		r.wrong(n, "reasons stand with the event "+string(e.Event), "reasons with the event revised", "remove the reasons")
	}
	for _, v := range r.distinct(r.entries(n, "reasons"), "reasons") {
		if f := r.reasonField(); f == nil || r.hasCode(v, f) {
			e.Reasons = append(e.Reasons, v.Value)
		}
	}
	if r.registry() == "procedures" && r.tables["revisions"] == nil {
		r.wrong(n, "reasons are asked for, but no export holds revisions",
			"reasons with a table revisions under exports", "add the table, or remove the reasons")
	}
}

// reasonField is where reasons are recorded; nil when no such table was declared.
func (r *reader) reasonField() *schemas.Field {
	for _, table := range []string{"revisions", "shoulders"} {
		if e := r.tables[table]; e != nil {
			return e.field("reason")
		}
	}
	return nil
}

// competes reports a competing cause that cannot be one.
func (r *reader) competes(n *yaml.Node, c cohorts.Cause, e *cohorts.Endpoint) {
	r.recorded(n, c)
	switch {
	case c == e.Event:
		r.wrong(n, string(c)+" is the endpoint's own event and cannot compete with it", "other causes",
			"remove it from competing")
	case c == cohorts.OtherRevision && len(e.Reasons) == 0:
		r.wrong(n, "other_revision competes, but the endpoint counts every revision", "other_revision with reasons",
			"name the reasons that count, or remove other_revision")
	}
}

// defaultLabel words an endpoint that the plan does not label.
func (r *reader) defaultLabel(e *cohorts.Endpoint) string {
	switch {
	case e.Event == cohorts.Died:
		return "death"
	case e.Event == cohorts.OtherEvent:
		return "another event"
	case len(e.Reasons) == 0 && e.Counts == cohorts.ComponentExchanged:
		return "revision with a component exchanged"
	case len(e.Reasons) == 0:
		return "revision for any reason"
	}
	names := slices.Clone(e.Reasons)
	if f := r.reasonField(); f != nil {
		for i, code := range e.Reasons {
			names[i] = f.Label(code)
			names[i] = strings.ToLower(names[i][:1]) + names[i][1:]
		}
	}
	return "revision for " + strings.Join(names, " or ")
}

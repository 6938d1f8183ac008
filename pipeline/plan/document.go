package plan

import (
	"regexp"
	"slices"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// Version is the version of the plan format that this program reads.
const Version = 1

// defaultMask is the smallest count that is shown when the plan does not say otherwise.
const defaultMask = 5

// names with hyphens: the study and the analyses, which become names of folders and parts of ids.
var hyphened = regexp.MustCompile(`^[A-Za-z0-9]+(-[A-Za-z0-9]+)*$`)

// document reads the whole plan. The exports come first, because everything after them names their fields.
func (r *reader) document(root *yaml.Node) {
	if root.Kind != yaml.MappingNode {
		r.mistyped(root, "the plan", group, `a group of keys, beginning with "plan: 1"`)
		return
	}
	if r.isForPower(root) {
		return
	}
	s := r.section(root, "the plan", "plan", "study", "title", "about", "invented", "exports", "data_cut", "follow_up",
		"indication", "cohort", "endpoints", "visits", "analyses", "outputs", "disclosure", "rules")
	r.version(s.need("plan", `add "plan: 1" at the top`))
	r.heading(s)
	r.exports(s.need("exports", "name the files of at least one table"))
	r.followUp(s)
	r.indication(s.values["indication"])
	r.cohort(s.values["cohort"])
	r.endpoints(s.need("endpoints", "say what follow-up waits for, for instance revision"))
	r.visits(s.values["visits"])
	r.analyses(s.need("analyses", "ask for at least one analysis"))
	r.outputs(s.values["outputs"])
	r.disclosure(s.values["disclosure"])
	r.rules(s.values["rules"])
}

func (r *reader) version(n *yaml.Node) {
	if n == nil {
		return
	}
	if v, ok := r.whole(n, "plan", 0, "1"); ok && v != Version {
		r.malformed(n, "plan is "+n.Value+", a version of the plan format that this program does not know", "1",
			"write 1, or use the version of deltoid that the plan was written for")
	}
}

// heading reads what the study is called and says of itself.
func (r *reader) heading(s section) {
	if n := s.need("study", "give the study a short name, for the output folder"); n != nil {
		r.plan.Study, _ = r.named(n, "study")
	}
	if n := s.need("title", "give the report a title"); n != nil {
		r.plan.Title, _ = r.text(n, "title")
	}
	if n := s.values["about"]; n != nil {
		r.plan.About, _ = r.text(n, "about")
	}
	if n := s.values["invented"]; n != nil {
		r.plan.Invented = r.yesNo(n, "invented")
	}
}

// yesNo reads true or false.
func (r *reader) yesNo(n *yaml.Node, name string) bool {
	v, ok := r.choice(n, name, []string{"true", "false"})
	if ok && n.ShortTag() != "!!bool" {
		r.malformed(n, name+" is the text "+quote(v), "true, false", "remove the quotation marks")
	}
	return v == "true"
}

// named reads a name of letters, digits and hyphens.
func (r *reader) named(n *yaml.Node, name string) (string, bool) {
	v, ok := r.text(n, name)
	if ok && (!hyphened.MatchString(v) || len(v) > 80) {
		r.malformed(n, name+" is "+quote(v), "at most 80 letters (a to z), digits and single hyphens between them",
			"write for instance "+quote(slug(v)))
		return "", false
	}
	return v, ok
}

// followUp reads until when shoulders are observed.
func (r *reader) followUp(s section) {
	cut, mode := s.values["data_cut"], s.values["follow_up"]
	r.plan.FollowUp.DataCut = schemas.NoDay
	if r.tables["shoulders"] != nil {
		r.notForReady("data_cut", cut)
		r.notForReady("follow_up", mode)
		return
	}
	if cut != nil {
		r.plan.FollowUp.DataCut = r.dataCut(cut)
	} else if len(r.tables) > 0 {
		s.need("data_cut", "add the last day of follow-up, as in \"data_cut: 2024-12-31\"; events after it are not counted")
	}
	if mode == nil {
		return
	}
	if v, ok := r.choice(mode, "follow_up", []string{"data_cut", "last_contact"}); ok && v == "last_contact" {
		r.plan.FollowUp.ToLastContact = true
		if r.registry() == "procedures" && !r.holdsAny("contacts", "scores", "complications") {
			r.wrong(mode, "follow_up is last_contact, but no export says when a patient was last known about",
				"data_cut, or one of the tables contacts, scores and complications under exports",
				"add the table, or write data_cut")
		}
	}
}

func (r *reader) holdsAny(tables ...string) bool {
	return slices.ContainsFunc(tables, func(name string) bool { return r.tables[name] != nil })
}

func (r *reader) notForReady(key string, n *yaml.Node) {
	if n != nil {
		r.malformed(n, key+" stands beside a ready table", "only with linked tables",
			"remove the key: the follow-up of each shoulder is in the table")
	}
}

// dataCut reads the last day of follow-up in the terms of the exports: a date, or a day number.
func (r *reader) dataCut(n *yaml.Node) int32 {
	const allowed = "a date as YYYY-MM-DD, or a whole number when the exports count days"
	day, numbered, ok := r.day(n, "data_cut", allowed)
	switch {
	case !ok || r.main == nil:
	case numbered && !r.plan.Offsets:
		r.wrong(n, "data_cut is the number "+cut(n.Value)+", but the exports have dates", "a date as YYYY-MM-DD",
			"write the date, or declare the exports' dates as \"day number\"")
	case !numbered && r.plan.Offsets:
		r.wrong(n, "data_cut is a date, but the exports count days", "a whole number",
			"write the number of the last day of follow-up")
	}
	return day
}

func (r *reader) outputs(n *yaml.Node) {
	all := []Output{HTML, Markdown, Notebook, Figures}
	if n == nil {
		r.plan.Outputs = all
		return
	}
	for _, name := range r.choices(n, "outputs", words(all)) {
		r.plan.Outputs = append(r.plan.Outputs, Output(name.Value))
	}
}

// choices reads a list of words of a closed list, each once; it may be empty.
func (r *reader) choices(n *yaml.Node, name string, allowed []string) []*yaml.Node {
	if n.Kind != yaml.SequenceNode {
		r.mistyped(n, name, list, "a list of: "+join(allowed))
		return nil
	}
	var words []*yaml.Node
	seen := map[string]bool{}
	for _, entry := range n.Content {
		v, ok := r.choice(entry, "an entry of "+name, allowed)
		if ok && seen[v] {
			r.malformed(entry, quote(v)+" stands twice in "+name, "each entry once", "delete one of the two")
		} else if ok {
			seen[v] = true
			words = append(words, entry)
		}
	}
	return words
}

func (r *reader) disclosure(n *yaml.Node) {
	r.plan.Disclosure.MaskBelow = defaultMask
	if n == nil {
		return
	}
	s := r.section(n, "disclosure", "mask_below", "reason")
	if v := s.values["reason"]; v != nil {
		r.plan.Disclosure.Reason, _ = r.text(v, "reason")
	}
	v := s.values["mask_below"]
	if v == nil {
		return
	}
	below, ok := r.whole(v, "mask_below", 1, "a whole number from 1 (nothing is masked) up")
	if !ok {
		return
	}
	r.plan.Disclosure.MaskBelow = below
	if below < defaultMask && s.values["reason"] == nil {
		r.malformed(v, "mask_below is "+v.Value+" without a reason", "5 or more, or a lower number with a reason",
			"add \"reason: …\": why counts this small may be shown, for instance because the data are published")
	}
}

// registry names the table that the shoulders come from.
func (r *reader) registry() string {
	if r.main == nil {
		return ""
	}
	return r.main.schema.Name
}

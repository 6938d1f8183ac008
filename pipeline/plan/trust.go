package plan

import (
	"maps"
	"regexp"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// The keys read here say how far an export is trusted: which file it must be, which columns somebody has looked at, and
// which rules only warn.

var hashForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

const hashAllowed = "the SHA-256 of the file: 64 digits and small letters from a to f"

// hashes reads the hash of the only file, or of each file by its path.
func (r *reader) hashes(n *yaml.Node, e *export) {
	if n.Kind != yaml.MappingNode {
		hash, ok := r.hash(n, "sha256")
		switch {
		case !ok || len(e.source.Shown) == 0:
		case len(e.source.Shown) > 1:
			r.wrong(n, "sha256 is one hash for "+strconv.Itoa(len(e.source.Shown))+" files", "the path of each file with its hash",
				"write the paths below sha256, each with its hash")
		default:
			e.source.SHA256 = put(e.source.SHA256, e.source.Shown[0], hash)
		}
		return
	}
	for _, p := range r.pairs(n, "sha256") {
		hash, ok := r.hash(p.value, "the hash of "+quote(p.key.Value))
		if !slices.Contains(e.source.Shown, p.key.Value) {
			r.wrong(p.key, "the file "+quote(p.key.Value)+" is not one of the files of "+e.schema.Name, join(some(e.source.Shown)),
				didYouMean(p.key.Value, e.source.Shown, "name it under files, or remove it here"))
			continue
		}
		if ok {
			e.source.SHA256 = put(e.source.SHA256, p.key.Value, hash)
		}
	}
}

func (r *reader) hash(n *yaml.Node, name string) (string, bool) {
	v, ok := r.text(n, name)
	if ok && !hashForm.MatchString(v) {
		r.malformed(n, name+" is "+quote(v), hashAllowed, "copy the hash that came with the export; \"deltoid draft\" writes it too")
		return "", false
	}
	return v, ok
}

// reviewed reads which columns may stay although they look as if they could identify people.
func (r *reader) reviewed(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "reviewed") {
		if reason, ok := r.text(p.value, "the reason for "+quote(p.key.Value)); ok {
			e.source.Reviewed = put(e.source.Reviewed, p.key.Value, reason)
		}
	}
}

// drop reads which columns are not read. What the study needs cannot be dropped.
func (r *reader) drop(n *yaml.Node, e *export) {
	for _, column := range r.codes(n, "drop") {
		for _, name := range e.fields(anyField) {
			f := e.field(name)
			own, mapped := e.source.Columns[name]
			extra := e.schema.Field(name) == nil
			if !mapped {
				own = name
			}
			if own == column.Value && (mapped || extra || f.Required) {
				r.wrong(column, "the column "+quote(own)+" is dropped, and read as the field "+quote(name), "one of the two",
					"remove it here, or name another column for the field")
			}
		}
		e.source.Drop = append(e.source.Drop, column.Value)
	}
	for _, name := range slices.Sorted(maps.Keys(e.source.Reviewed)) {
		if slices.Contains(e.source.Drop, name) {
			r.wrong(n, "the column "+quote(name)+" is both reviewed and dropped", "one of the two", "remove one of them")
		}
	}
}

// rules reads which rules only warn.
func (r *reader) rules(n *yaml.Node) {
	if n == nil {
		return
	}
	var all, may []string
	for _, rule := range slices.Concat(schemas.Rules(), cohorts.Rules()) {
		all = append(all, rule.ID)
		if rule.MayWarn {
			may = append(may, rule.ID)
		}
	}
	for _, p := range r.pairs(n, "rules") {
		name := "rules." + plain(p.key.Value)
		s := r.section(p.value, name, "severity", "reason")
		if v := s.need("severity", `add "severity: warn"`); v != nil {
			r.choice(v, name+".severity", []string{"warn"})
		}
		l := Lowered{Rule: p.key.Value}
		if v := s.need("reason", "say why rows that break the rule may be used; the report prints it"); v != nil {
			l.Reason, _ = r.text(v, name+".reason")
		}
		switch {
		case !slices.Contains(all, l.Rule):
			what, _, remedy := unknown("rule", l.Rule, all, "name one of the rules allowed")
			r.wrong(p.key, what, join(may), remedy)
		case !slices.Contains(may, l.Rule):
			r.wrong(p.key, "the rule "+quote(l.Rule)+" cannot be lowered: a row that breaks it cannot be counted right, or it only warns already",
				join(may), "remove it here, and correct the rows")
		default:
			r.plan.Rules = append(r.plan.Rules, l)
		}
	}
	for i := range r.plan.Sources {
		for _, l := range r.plan.Rules {
			r.plan.Sources[i].Warn = append(r.plan.Sources[i].Warn, l.Rule)
		}
	}
}

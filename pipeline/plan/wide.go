package plan

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // so that a plan means the same on a machine without a list of time zones

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// wide reads the columns of scores of a table that has a row for each shoulder.
func (r *reader) wide(n *yaml.Node, e *export) {
	if e.schema.Name != "scores" {
		r.wrong(n, "wide stands with the table "+e.schema.Name, "with the table scores", "remove the key")
		return
	}
	for _, p := range r.pairs(n, "wide") {
		name := "wide." + plain(p.key.Value)
		s := r.section(p.value, name, "instrument", "day", "after")
		w := schemas.WideScore{Column: p.key.Value}
		if v := s.need("instrument", "say which instrument the column holds"); v != nil {
			if code, ok := r.code(v, "instrument"); ok && r.hasCode(v, e.schema.Field("instrument")) {
				w.Instrument = code
			}
		}
		if v := s.need("day", "name the column with the day of the visit"); v != nil {
			w.Day, _ = r.code(v, "day")
		}
		if v := s.values["after"]; v != nil {
			w.After = r.length(v, "after")
		}
		e.source.Wide = append(e.source.Wide, w)
	}
}

// notWide reports fields that have no column of their own in a table of wide scores.
func (r *reader) notWide(key string, n *yaml.Node, e *export, fields ...string) {
	if n == nil || len(e.source.Wide)+len(e.source.Items) == 0 || n.Kind != yaml.MappingNode {
		return
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if slices.Contains(fields, n.Content[i].Value) {
			r.wrong(n.Content[i], key+"."+n.Content[i].Value+" stands beside "+map[bool]string{true: "wide", false: "items"}[len(e.source.Wide) > 0]+", which names a column for each score",
				"the other fields", "remove it here")
		}
	}
}

var lengthForm = regexp.MustCompile(`^(-?[1-9][0-9]{0,4}|0) (days|weeks|months|years)$`)

// length reads a length of time with its unit, as in "12 months".
func (r *reader) length(n *yaml.Node, name string) (l schemas.Length) {
	v, ok := r.text(n, name)
	if !ok {
		return l
	}
	if !lengthForm.MatchString(v) {
		r.malformed(n, name+" is "+quote(v), "a whole number of days, weeks, months or years", "write for instance \"12 months\"")
		return l
	}
	number, unit, _ := strings.Cut(v, " ")
	l.Number, _ = strconv.Atoi(number) // the form has made sure of it
	l.Unit = schemas.Unit(unit)
	return l
}

// zones reads in which time zone a moment becomes a day.
func (r *reader) zones(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "zones") {
		zone, ok := r.text(p.value, "the time zone of "+quote(p.key.Value))
		if !ok || r.known(p.key, e, isDate, "holds no dates") == nil {
			continue
		}
		if _, err := time.LoadLocation(zone); err != nil || zone == "Local" {
			r.wrong(p.value, quote(zone)+" is no time zone", "a name of the IANA database, as Europe/Lisbon, or UTC",
				"name the zone in which the patients were treated")
			continue
		}
		e.source.Zones = put(e.source.Zones, p.key.Value, zone)
	}
}

// formOf reads what only some formats have.
func (r *reader) formOf(s section, e *export) {
	only := func(key, what string, format schemas.Format) *yaml.Node {
		v := s.values[key]
		if v != nil && len(e.source.Files) > 0 && !slices.ContainsFunc(e.source.Files, func(file string) bool {
			return e.source.Format == format || e.source.Format == schemas.ByEnding && schemas.FormatOf(file) == format
		}) {
			r.wrong(v, key+" stands with files that are no "+what, "with "+what, "remove the key")
		}
		return v
	}
	if v := only("encoding", "text files", schemas.CSV); v != nil {
		word, _ := r.choice(v, "encoding", []string{string(schemas.UTF8), string(schemas.Windows1252)})
		e.source.Encoding = schemas.Encoding(word)
	}
	if v := only("sheet", "workbooks", schemas.Workbook); v != nil {
		e.source.Sheet, _ = r.code(v, "sheet")
	}
}

// wideWords says where a column of scores belongs.
func wideWords(w *schemas.WideScore) string {
	words := w.Instrument + " on the day in " + w.Day
	if w.After.Number != 0 {
		words += ", " + strconv.Itoa(w.After.Number) + " " + string(w.After.Unit) + " later"
	}
	return words
}

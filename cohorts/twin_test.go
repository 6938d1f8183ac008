package cohorts_test

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The twin is a second, slow linking: for every question it walks all rows again, and it knows nothing of buckets, parts
// or numbered patients. It takes the doors of every row and the episodes straight from the sentences in the doc comments.
type twin struct {
	study study
	f     cohorts.FollowUp
}

// row is one row of an export with its cells by name.
type row struct {
	line                               int
	patient, side, procedure, occasion string
	reason, exchanged, stage           string
	day                                int
	converts                           bool // of an index procedure: it converted the one before
}

// event is a reoperation as the twin sees it.
type event struct {
	day            int
	reason, change string // change: "", "none", or a component
	second         bool
}

func (w twin) rows(name string) []row {
	e := w.study[name]
	var rows []row
	for i, cells := range e.rows {
		r := row{line: int(e.lines[i])}
		for j, h := range e.header {
			switch c := cells[j]; h {
			case "patient":
				r.patient = c
			case "side":
				r.side = c
			case "procedure":
				r.procedure = c
			case "occasion":
				r.occasion = c
			case "reason":
				r.reason = c
			case "exchanged":
				r.exchanged = c
			case "stage":
				r.stage = c
			case "day":
				r.day, _ = strconv.Atoi(c)
			}
		}
		rows = append(rows, r)
	}
	slices.SortFunc(rows, func(a, b row) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.occasion, b.occasion), cmp.Compare(a.key(), b.key()), cmp.Compare(a.line, b.line))
	})
	return rows
}

// key orders rows of one day: by the places that their codes have in the lists of the schemas.
func (r row) key() string {
	place := map[string]string{"": "0", "reverse": "1", "hemi": "2", "plate": "3", "infection": "1", "instability": "2", "wear": "3",
		"loosening_glenoid": "2", "periprosthetic_fracture": "2", "single": "1", "first_of_two": "2", "second_of_two": "3",
		"all": "1", "humeral": "2", "glenoid": "3", "liner_or_head": "4", "removed_all": "5", "none": "6"}
	return place[r.procedure] + place[r.reason] + place[r.exchanged] + place[r.stage]
}

// revisedIn reports whether any table has a revision of a shoulder from one day until before another.
func (w twin) revisedIn(patient, side string, from, before int) bool {
	for _, name := range []string{"procedures", "revisions"} {
		for _, r := range w.rows(name) {
			if r.patient == patient && r.side == side && r.day >= from && r.day < before && (name == "revisions" || r.occasion == "revision") {
				return true
			}
		}
	}
	return false
}

// indexes returns the index procedures of a shoulder by day.
func (w twin) indexes(patient, side string) []row {
	var list []row
	inPlace := ""
	for _, r := range w.rows("procedures") {
		if r.patient != patient || r.side != side {
			continue
		}
		var last row
		if len(list) > 0 {
			last = list[len(list)-1]
		}
		from := last.day
		if last.converts {
			from++
		}
		became := len(list) > 0 && r.day > last.day &&
			(inPlace == "hemi" && r.procedure == "reverse" || inPlace == "plate" && r.procedure != "plate")
		switch {
		case became, r.occasion == "primary" && (len(list) == 0 || w.revisedIn(patient, side, from, r.day)):
			r.converts, inPlace = became, r.procedure
			list = append(list, r)
		case r.occasion == "revision" && r.procedure != "plate" && r.procedure != "":
			if len(list) > 0 {
				inPlace = r.procedure
			}
		}
	}
	return list
}

// events returns what ends or may end the course of one index procedure, next being the one after it in the shoulder.
func (w twin) events(index row, next *row) []event {
	mine := w.indexes(index.patient, index.side)
	isIndex := func(r row) bool { return slices.ContainsFunc(mine, func(i row) bool { return i.line == r.line }) }
	death := w.death(index.patient)
	begin, end := index.day, 1<<30
	if index.converts {
		begin++
	}
	if next != nil && next.converts {
		end = next.day + 1
	} else if next != nil {
		end = next.day
	}
	var all []event
	half := false
	told := map[int]bool{} // days that the revisions table tells of
	for _, r := range w.rows("revisions") {
		if r.patient != index.patient || r.side != index.side || r.day < mine[0].day || death.line > 0 && r.day > death.day {
			continue
		}
		second := r.stage == "second_of_two" && half
		half = r.stage == "first_of_two" || half && r.stage != "second_of_two"
		told[r.day] = true
		if r.day < begin || r.day >= end {
			continue
		}
		e := event{r.day, r.reason, r.exchanged, second}
		for _, p := range w.rows("procedures") {
			if p.patient != r.patient || p.side != r.side || p.day != r.day {
				continue
			}
			if next != nil && next.converts && p.line == next.line {
				e.change = "all"
			} else if p.occasion == "revision" && !isIndex(p) && r.exchanged == "" {
				e.change = cmp.Or(strings.ReplaceAll(p.procedure, "plate", ""), e.change, "none")
			}
		}
		all = append(all, e)
	}
	for _, p := range w.rows("procedures") {
		converting := next != nil && next.converts && p.line == next.line
		if p.patient == index.patient && p.side == index.side && !told[p.day] && p.day >= begin && p.day < end &&
			(death.line == 0 || p.day <= death.day) && (converting || p.occasion == "revision" && !isIndex(p)) {
			change := "all"
			if p.procedure == "plate" {
				change = "none"
			}
			all = append(all, event{p.day, "", change, false})
		}
	}
	return all
}

func (w twin) both(patient string) []row {
	return append(w.indexes(patient, "left"), w.indexes(patient, "right")...)
}

// death returns the line and day of the death that is used, line 0 for none.
func (w twin) death(patient string) row {
	for _, r := range w.rows("deaths") {
		after := func(i row) bool { return i.day > r.day }
		if mine := w.both(patient); r.patient == patient && len(mine) > 0 && !slices.ContainsFunc(mine, after) {
			return r
		}
	}
	return row{}
}

// door returns how a row of a table leaves: "used", "unlinked" or "set aside".
func (w twin) door(name string, r row) string {
	death := w.death(r.patient)
	dead := death.line > 0 && r.day > death.day
	mine := w.indexes(r.patient, r.side)
	isMine := func(i row) bool { return i.line == r.line }
	switch {
	case name == "deaths" && len(w.both(r.patient)) > 0:
		return door(death.line == r.line)
	case name == "contacts" && len(w.both(r.patient)) > 0:
		return door(!dead)
	case len(mine) == 0:
		return "unlinked"
	case name == "procedures" && r.occasion == "primary":
		return door(slices.ContainsFunc(mine, isMine))
	case name == "scores":
		return door(!dead)
	}
	return door(r.day >= mine[0].day && !dead)
}

func door(isUsed bool) string {
	if isUsed {
		return "used"
	}
	return "set aside"
}

// lastContact returns the last day on which a row in use knows of the patient since the operation.
func (w twin) lastContact(index row) (last int, known bool) {
	mine := w.both(index.patient)
	for name := range w.study {
		for _, r := range w.rows(name) {
			another := name == "procedures" && slices.ContainsFunc(mine, func(i row) bool { return i.line == r.line })
			itself := name == "procedures" && r.line == index.line
			if r.patient != index.patient || itself || w.door(name, r) != "used" || r.day < index.day || another && r.day == index.day {
				continue
			}
			last, known = max(last, r.day), true
		}
	}
	return last, known
}

// episode returns the end of one shoulder's follow-up as text: exit, cause.
func (w twin) episode(index row, next *row, e cohorts.Endpoint) string {
	until := int(w.f.DataCut)
	if w.f.ToLastContact {
		last, _ := w.lastContact(index)
		until = min(until, last)
	}
	first := map[cohorts.Cause]int{}
	note := func(c cohorts.Cause, day int) {
		if old, known := first[c]; !known || day < old {
			first[c] = day
		}
	}
	death := w.death(index.patient)
	if death.line > 0 {
		note(cohorts.Died, death.day)
	}
	for _, v := range w.events(index, next) {
		switch {
		case v.second, e.Counts == cohorts.ComponentExchanged && v.change == "none":
		case len(e.Reasons) == 0 || slices.Contains(e.Reasons, v.reason):
			note(cohorts.Revised, v.day)
		default:
			note(cohorts.OtherRevision, v.day)
		}
	}
	end := until
	for _, day := range first {
		end = min(end, day)
	}
	for _, c := range append([]cohorts.Cause{cohorts.Revised}, e.Competing...) {
		if day, happened := first[c]; happened && day == end {
			return fmt.Sprint(end-index.day, " ", c)
		}
	}
	return fmt.Sprint(end-index.day, " censored")
}

// episodes returns the episodes of everyone operated on by the data cut, by place of the index procedure.
func (w twin) episodes(e cohorts.Endpoint) map[int]string {
	out := map[int]string{}
	for _, r := range w.rows("procedures") {
		list := w.indexes(r.patient, r.side)
		at := slices.IndexFunc(list, func(i row) bool { return i.line == r.line })
		if at < 0 || r.day > int(w.f.DataCut) {
			continue
		}
		if _, known := w.lastContact(r); w.f.ToLastContact && !known {
			continue
		}
		var next *row
		if at+1 < len(list) {
			next = &list[at+1]
		}
		out[r.line] = w.episode(list[at], next, e)
	}
	return out
}

// randomStudy draws a study of few patients and few days, so that nearly every row meets another.
func randomStudy(t *rapid.T) study {
	patient := rapid.SampledFrom([]string{"A", "B", "C", "AA"})
	side := rapid.SampledFrom([]string{"left", "right"})
	day := rapid.IntRange(0, 9)
	s := study{}
	add := func(name, header string, most int, rest func() string) {
		var rows []string
		for range rapid.IntRange(0, most).Draw(t, name) {
			rows = append(rows, patient.Draw(t, "patient")+","+rest())
		}
		s[name] = newExport(name, header, rows...)
	}
	of := func(list ...string) string { return rapid.SampledFrom(list).Draw(t, "code") }
	placed := func() string { return side.Draw(t, "side") + "," + strconv.Itoa(day.Draw(t, "day")) }
	add("procedures", "patient,side,day,procedure,occasion", 14, func() string {
		return placed() + "," + of("reverse", "hemi", "plate") + "," + of("primary", "primary", "revision")
	})
	add("revisions", "patient,side,day,reason,exchanged,stage", 6, func() string {
		return placed() + "," + of("infection", "wear", "instability") + "," + of("", "all", "none") + "," + of("", "first_of_two", "second_of_two")
	})
	add("deaths", "patient,day", 4, func() string { return strconv.Itoa(day.Draw(t, "day")) })
	add("complications", "patient,side,day,complication", 4, func() string { return placed() + "," + of("infection", "other") })
	add("scores", "patient,side,day,instrument,value", 6, func() string { return placed() + ",constant,50" })
	add("contacts", "patient,day,kind", 4, func() string { return strconv.Itoa(day.Draw(t, "day")) + "," + of("visit", "call") })
	return s
}

func randomFollowUp(t *rapid.T) cohorts.FollowUp {
	return cohorts.FollowUp{DataCut: rapid.Int32Range(3, 12).Draw(t, "cut"), ToLastContact: rapid.Bool().Draw(t, "to contact")}
}

// TestLinkAgainstTwin compares ledgers, doors and episodes with the slow twin.
func TestLinkAgainstTwin(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, f := randomStudy(rt), randomFollowUp(rt)
		w := twin{s, f}
		tables, found := s.tables(t), &schemas.Findings{}
		r, err := cohorts.Link(tables, f, found)
		if err != nil {
			rt.Fatal(err)
		}
		if diff := gocmp.Diff(w.ledgers(), r.Ledgers); diff != "" {
			rt.Fatalf("ledgers (- twin, + program):\n%s", diff)
		}
		if diff := gocmp.Diff(w.notUsed(), refused(found)); diff != "" {
			rt.Fatalf("doors (- twin, + program):\n%s", diff)
		}
		for _, e := range []cohorts.Endpoint{anyRevision, infection, {ID: "alone", Reasons: []string{"infection", "wear"}}, exchanged} {
			if diff := gocmp.Diff(w.episodes(e), followed(rt, r, e, f)); diff != "" {
				rt.Fatalf("episodes for %s (- twin, + program):\n%s", e.ID, diff)
			}
		}
	})
}

func (w twin) ledgers() []schemas.Ledger {
	var ledgers []schemas.Ledger
	for _, name := range schemas.Names() {
		if _, given := w.study[name]; !given {
			continue
		}
		l := schemas.Ledger{Table: name}
		for _, r := range w.rows(name) {
			l.Read++
			switch w.door(name, r) {
			case "used":
				l.Used++
			case "unlinked":
				l.Unlinked++
			default:
				l.SetAside++
			}
		}
		ledgers = append(ledgers, l)
	}
	return ledgers
}

// notUsed returns the door of every row that is not used, by table and line.
func (w twin) notUsed() map[string]string {
	out := map[string]string{}
	for name := range w.study {
		for _, r := range w.rows(name) {
			if d := w.door(name, r); d != "used" {
				out[fmt.Sprint(name, " ", r.line)] = d
			}
		}
	}
	return out
}

// refused returns the same from the findings.
func refused(found *schemas.Findings) map[string]string {
	out := map[string]string{}
	fates := map[schemas.Severity]string{schemas.SetsAside: "set aside", schemas.Unlinks: "unlinked"}
	for _, f := range found.All() {
		if f.Rule.Severity != schemas.Warns {
			out[fmt.Sprint(f.Table, " ", f.Line)] = fates[f.Rule.Severity]
		}
	}
	return out
}

// followed returns the program's episodes by line of the index procedure.
func followed(t *rapid.T, r *cohorts.Registry, e cohorts.Endpoint, f cohorts.FollowUp) map[int]string {
	out := map[int]string{}
	c, _, err := cohorts.Define(r, everyone, f)
	if err != nil {
		return out // nobody is left: the twin must say so too
	}
	eps, err := c.Episodes(e, f, cohorts.Grouping{})
	if err != nil {
		t.Fatal(err)
	}
	for i, position := range c.Shoulders {
		_, line := r.Table.Place(int(r.Shoulders[position].Row))
		out[line] = fmt.Sprint(eps.Exit[i], " ", ending(eps, i))
	}
	return out
}

// TestTwinFindsTheWorkedRegistry keeps the twin itself honest: on the worked registry it must say what the paper says.
func TestTwinFindsTheWorkedRegistry(t *testing.T) {
	s := workedStudy(t)
	for name, e := range s { // the twin does not know rows that cannot be placed
		var keep []int
		for i, cells := range e.rows {
			if !slices.Contains(cells[:min(3, len(cells)-1)], "") {
				keep = append(keep, i)
			}
		}
		s[name] = e.permuted(keep)
	}
	got := slices.Sorted(maps.Values(twin{s, untilCut}.episodes(anyRevision)))
	want := []string{"1400 censored", "1300 censored", "500 censored"} // P21, P22 and P31: no criterion is applied here
	for _, cells := range paper(t, "Episodes until the data cut") {
		want = append(want, cells[3]+" "+cells[4])
	}
	slices.Sort(want)
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Errorf("(- paper, + twin):\n%s", diff)
	}
}

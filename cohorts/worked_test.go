package cohorts_test

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	"github.com/google/go-cmp/cmp"
)

const worked = "../testdata/worked/registry"

// untilCut and untilContact are the two kinds of follow-up that the worked registry is counted with.
var (
	untilCut     = cohorts.FollowUp{DataCut: 3000}
	untilContact = cohorts.FollowUp{DataCut: 3000, ToLastContact: true}
)

// workedDefinition is the definition that the paper beside the worked registry states.
var workedDefinition = cohorts.Definition{Name: "three indications", Criteria: []cohorts.Criterion{
	{Label: "Reverse replacement", Place: "plan.yaml:20", Where: []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}}},
	{Label: "One of three indications", Place: "plan.yaml:23", Where: []cohorts.Condition{
		{Field: "indication", In: []string{"oa_deficient_cuff", "cuff_tear_arthropathy", "fracture"}}}},
}}

// paper reads the table under a heading of the worked registry's README: what was worked out by hand.
func paper(tb testing.TB, heading string) [][]string {
	tb.Helper()
	return paperOf(tb, worked, heading)
}

func paperOf(tb testing.TB, folder, heading string) [][]string {
	tb.Helper()
	text, err := os.ReadFile(filepath.Join(folder, "README.md"))
	if err != nil {
		tb.Fatal(err)
	}
	_, section, ok := strings.Cut(string(text), "\n## "+heading+"\n")
	if !ok {
		tb.Fatalf("the paper has no heading %q", heading)
	}
	section, _, _ = strings.Cut(section, "\n## ")
	var rows [][]string
	for line := range strings.Lines(section) {
		if strings.HasPrefix(line, "| ") && !strings.HasPrefix(line, "| ---") {
			cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
			for i := range cells {
				cells[i] = strings.TrimSpace(cells[i])
			}
			rows = append(rows, cells)
		}
	}
	if len(rows) < 2 {
		tb.Fatalf("the paper has no table under %q", heading)
	}
	return rows[1:]
}

func workedStudy(tb testing.TB) study {
	s := study{}
	for _, name := range []string{"procedures", "revisions", "complications", "deaths", "scores", "contacts"} {
		s[name] = readExport(tb, filepath.Join(worked, name+".csv"))
	}
	return s
}

func number(n int) string { return strconv.Itoa(n) }

func agree(t *testing.T, heading string, got [][]string) {
	t.Helper()
	if diff := cmp.Diff(paper(t, heading), got); diff != "" {
		t.Errorf("%s (- paper, + program):\n%s", heading, diff)
	}
}

func TestWorkedLedgersAndFindings(t *testing.T) {
	r, found := workedStudy(t).link(t, untilCut)
	var ledgers, findings [][]string
	for _, l := range r.Ledgers {
		ledgers = append(ledgers, []string{l.Table, number(l.Read), number(l.Used), number(l.SetAside), number(l.Unlinked)})
	}
	agree(t, "Ledgers", ledgers)
	for _, f := range found.All() {
		findings = append(findings, []string{f.Table, number(f.Line), f.Rule.ID})
	}
	agree(t, "Findings", findings)
}

// TestWorkedBreaksEveryRule holds the worked registries to their promise.
func TestWorkedBreaksEveryRule(t *testing.T) {
	_, found := workedStudy(t).link(t, untilCut)
	_, decided := decidedStudy(t).link(t, untilCut)
	broken := map[string]bool{}
	for _, f := range append(slices.Clone(found.All()), decided.All()...) {
		broken[f.Rule.ID] = true
	}
	for _, rule := range cohorts.Rules() {
		if !broken[rule.ID] {
			t.Errorf("no row of the worked registries breaks %q", rule.ID)
		}
	}
}

func flowRows(flow *cohorts.Flow) [][]string {
	var rows [][]string
	for _, s := range flow.Steps {
		rows = append(rows, []string{s.ID, number(s.Kept), number(s.KeptPatients), number(s.Left), number(s.LeftPatients),
			number(s.LeftUnknown)})
	}
	return rows
}

func TestWorkedFlow(t *testing.T) {
	r, _ := workedStudy(t).link(t, untilCut)
	_, flow := define(t, r, workedDefinition, untilCut)
	agree(t, "Flow until the data cut", flowRows(flow))
	_, flow = define(t, r, workedDefinition, untilContact)
	agree(t, "Flow until the last contact", flowRows(flow))
}

// describe returns who a shoulder is, as the paper writes it.
func describe(c *cohorts.Cohort, i int) (patient, side, day string) {
	s := c.Registry.Shoulders[c.Shoulders[i]]
	side = map[cohorts.Side]string{cohorts.Left: "left", cohorts.Right: "right"}[s.Side]
	return c.Registry.Table.Column("patient").Text(int(s.Row)), side, number(int(s.Day))
}

func ending(eps *cohorts.Episodes, i int) string {
	if eps.Cause[i] == 0 {
		return "censored"
	}
	return string(eps.Causes[eps.Cause[i]-1])
}

func TestWorkedEpisodes(t *testing.T) {
	r, _ := workedStudy(t).link(t, untilCut)
	c, _ := define(t, r, workedDefinition, untilCut)
	eps := episodes(t, c, anyRevision, untilCut, cohorts.Grouping{})
	inf := episodes(t, c, infection, untilCut, cohorts.Grouping{})
	var rows [][]string
	for i := range eps.Exit {
		patient, side, day := describe(c, i)
		rows = append(rows, []string{patient, side, day, number(int(eps.Exit[i])), ending(eps, i), ending(inf, i)})
		if eps.Exit[i] != inf.Exit[i] {
			t.Errorf("%s: the two endpoints end on day %d and on day %d", patient, eps.Exit[i], inf.Exit[i])
		}
	}
	agree(t, "Episodes until the data cut", rows)
	if eps.DayZero != 2 || eps.Bilateral != 2 || eps.Simultaneous != 1 || eps.OtherReason != 0 {
		t.Errorf("day zero %d, bilateral %d, simultaneous %d, other reason %d; the paper says 2, 2, 1, 0",
			eps.DayZero, eps.Bilateral, eps.Simultaneous, eps.OtherReason)
	}
	if inf.UnknownReason != 1 || inf.OtherReason != 0 {
		t.Errorf("unknown reason %d, other reason %d; the paper says 1, 0", inf.UnknownReason, inf.OtherReason)
	}
	if eps.Entry != nil {
		t.Error("a late entry, where nobody came late")
	}
}

// TestWorkedOtherReasonCensors takes the competing causes away: a revision for another reason then censors, aloud.
func TestWorkedOtherReasonCensors(t *testing.T) {
	r, _ := workedStudy(t).link(t, untilCut)
	c, _ := define(t, r, workedDefinition, untilCut)
	alone := infection
	alone.Competing = nil
	with := episodes(t, c, infection, untilCut, cohorts.Grouping{})
	without := episodes(t, c, alone, untilCut, cohorts.Grouping{})
	if diff := cmp.Diff(with.Exit, without.Exit); diff != "" {
		t.Errorf("the exits differ:\n%s", diff)
	}
	for i := range with.Cause {
		want := with.Cause[i]
		if want > 1 {
			want = 0
		}
		if without.Cause[i] != want {
			t.Errorf("shoulder %d has cause %d, want %d", i, without.Cause[i], want)
		}
	}
	if without.OtherReason != 5 || without.UnknownReason != 1 {
		t.Errorf("other reason %d, unknown reason %d; the paper says 5, 1", without.OtherReason, without.UnknownReason)
	}
}

func TestWorkedEpisodesUntilLastContact(t *testing.T) {
	r, _ := workedStudy(t).link(t, untilContact)
	c, _ := define(t, r, workedDefinition, untilContact)
	eps := episodes(t, c, anyRevision, untilContact, cohorts.Grouping{})
	var rows [][]string
	for i := range eps.Exit {
		patient, side, day := describe(c, i)
		rows = append(rows, []string{patient, side, day, number(int(eps.Exit[i])), ending(eps, i)})
	}
	agree(t, "Episodes until the last contact", rows)
}

func TestWorkedGroups(t *testing.T) {
	r, _ := workedStudy(t).link(t, untilCut)
	c, _ := define(t, r, workedDefinition, untilCut)
	eps := episodes(t, c, anyRevision, untilCut, cohorts.Grouping{By: "sex", Order: []string{"male", "other", "female"}})
	counts := make([]int, len(eps.Groups))
	for _, g := range eps.Group {
		counts[g]++
	}
	var rows [][]string
	for i, label := range eps.Groups {
		rows = append(rows, []string{label, number(counts[i])})
	}
	agree(t, "Groups by sex", rows)
	if diff := cmp.Diff([]string{"Other"}, eps.Empty); diff != "" {
		t.Errorf("empty groups:\n%s", diff)
	}
}

func TestWorkedReady(t *testing.T) {
	found := &schemas.Findings{}
	r, err := cohorts.FromReady(readExport(t, filepath.Join(worked, "shoulders.csv")).table(t), found)
	if err != nil {
		t.Fatal(err)
	}
	f := cohorts.FollowUp{DataCut: schemas.NoDay}
	c, flow := define(t, r, everyone, f)
	eps := episodes(t, c, anyRevision, f, cohorts.Grouping{})
	var rows [][]string
	for i := range eps.Exit {
		patient, _, _ := describe(c, i)
		rows = append(rows, []string{patient, number(int(eps.Entry[i])), number(int(eps.Exit[i])), ending(eps, i)})
	}
	agree(t, "Ready rows", rows)
	if diff := cmp.Diff([]schemas.Ledger{{Table: "shoulders", Read: 7, Used: 5, SetAside: 2}}, r.Ledgers); diff != "" {
		t.Errorf("ledger:\n%s", diff)
	}
	if got := found.All(); len(got) != 2 || got[0].Rule != schemas.RuleFollowUpOrder || got[0].Line != 7 ||
		got[1].Rule != schemas.RuleMissingRequired || got[1].Line != 8 {
		t.Errorf("findings %v; the paper says lines 7 and 8", got)
	}
	want := [][]string{{"set-aside", "5", "0", "2", "0", "0"}, {"primary", "5", "3", "0", "0", "0"}}
	if diff := cmp.Diff(want, flowRows(flow)); diff != "" {
		t.Errorf("flow:\n%s", diff)
	}
	if eps.Bilateral != 2 || eps.DayZero != 1 {
		t.Errorf("bilateral %d, day zero %d; the paper says 2, 1", eps.Bilateral, eps.DayZero)
	}
}

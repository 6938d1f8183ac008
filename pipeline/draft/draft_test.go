package draft

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"deltoid/pipeline/plan"
)

// exports writes files into a new folder and returns it with their paths.
func exports(t testing.TB, files map[string]string) (folder string, paths []string) {
	t.Helper()
	folder = t.TempDir()
	for name, text := range files {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	// The order in which a shell names files.
	for i := range paths {
		for j := i; j > 0 && paths[j] < paths[j-1]; j-- {
			paths[j], paths[j-1] = paths[j-1], paths[j]
		}
	}
	return folder, paths
}

func drafted(t testing.TB, files map[string]string) (folder, text string) {
	t.Helper()
	folder, paths := exports(t, files)
	d, err := Look(context.Background(), folder, paths)
	if err != nil {
		t.Fatal(err)
	}
	return folder, string(d.Plan())
}

// decide takes the mark from every line that holds one of the words, and puts the answer in place of the candidates.
func decide(t testing.TB, text string, answers map[string]string) string {
	t.Helper()
	var b strings.Builder
	met := map[string]bool{}
	for line := range strings.Lines(text) {
		for words, answer := range answers {
			if strings.Contains(line, mark+words) {
				met[words] = true
				before, _, _ := strings.Cut(line, mark)
				line = before + answer + "\n"
			}
		}
		b.WriteString(line)
	}
	for words := range answers {
		if !met[words] {
			t.Errorf("no line waits with %q:\n%s", words, text)
		}
	}
	return b.String()
}

func holds(t testing.TB, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("the draft does not hold %q:\n%s", w, text)
		}
	}
}

var linked = map[string]string{
	"op/procedures.csv": "PAT_NO;SIDE;OP_DATE;KIND;OCCASION;AGE;SURNAME\n" + strings.Repeat("p1;L;03/04/2011;RSA;primary;71,5;Doe\np2;R;05/06/2012;TSA;primary;91,5;Roe\n", 6),
	"op/deaths.csv":     "PAT_NO,DIED_ON\np2,2014-02-28\np3,2015-07-31\n",
}

func TestDraftOfLinkedTables(t *testing.T) {
	folder, text := drafted(t, linked)
	holds(t, text, "  procedures:\n    files: op/procedures.csv\n", "      patient: PAT_NO", "      day: OP_DATE", `"L": "left" # 6 rows`, `"RSA": "reverse"`,
		"#? day: DD/MM/YYYY | MM/DD/YYYY", "decimal: comma", `#? drop: ["SURNAME"]`, `#? reviewed: {"AGE": ???}`, "competing: [died]", "#? data_cut: 2015-12-31", "sha256: \"")
	for _, value := range []string{"Doe", "Roe", "p1", "p2", "91,5", "71,5", "2014-02", "03/04"} {
		if strings.Contains(text, value) {
			t.Errorf("the draft gives the value %q away", value)
		}
	}
	settled := decide(t, text, map[string]string{"data_cut": "data_cut: 2015-12-31", "dates:": "dates:", "day: DD/MM": "day: DD/MM/YYYY",
		"drop:": `drop: ["SURNAME"]`, "reviewed:": `reviewed: {AGE: invented}`})
	p, err := plan.Parse(filepath.Join(folder, "plan.yaml"), []byte(settled))
	if err != nil {
		t.Fatalf("%v\n%s", err, settled)
	}
	s := p.Sources[0]
	if s.Table != "procedures" || s.Layouts["day"][0] != "DD/MM/YYYY" || s.Columns["procedure"] != "KIND" || s.Recode["side"]["R"] != "right" ||
		len(s.SHA256) != 1 || s.Decimal != ',' || p.Sources[1].Table != "deaths" {
		t.Errorf("%+v", s)
	}
}

// Until somebody decides, the plan does not run: it names what is missing.
func TestAnUndecidedDraftIsNoPlan(t *testing.T) {
	folder, text := drafted(t, linked)
	_, err := plan.Parse(filepath.Join(folder, "plan.yaml"), []byte(text))
	if err == nil || !strings.Contains(err.Error(), "data_cut") {
		t.Errorf("got %v", err)
	}
	if n := Waiting([]byte(text)); n < 5 {
		t.Errorf("%d decisions", n)
	}
}

func TestDraftOfAReadyTable(t *testing.T) {
	folder, text := drafted(t, map[string]string{"shoulders.csv": "id,months,status\n1,12,revised\n2,30.5,alive\n3,40,9\n"})
	holds(t, text, "follow_up: months # its name", "follow_up: months # the column's name says so", `"alive": "unrevised"`, `#? "9": ???`)
	if strings.Contains(text, "data_cut") {
		t.Error("a ready table has no data cut")
	}
	if _, err := plan.Parse(filepath.Join(folder, "plan.yaml"), []byte(text)); err != nil {
		t.Errorf("%v\n%s", err, text)
	}
}

// Monthly files with one header become one table, each with its hash.
func TestManyFilesOfOneTable(t *testing.T) {
	files := map[string]string{}
	for m := range 12 {
		files[fmt.Sprintf("revisions-%02d.csv", m+1)] = fmt.Sprintf("patient,side,day,reason\np%d,left,2020-%02d-13,infection\n", m, m+1)
	}
	_, text := drafted(t, files)
	holds(t, text, `"revisions-12.csv"`, "revisions-01.csv, revisions-02.csv, revisions-03.csv, and 9 more, 12 rows")
	if strings.Count(text, "  revisions:\n") != 1 || strings.Count(text, `.csv": "`) != 12 {
		t.Errorf("not one table with twelve hashes:\n%s", text)
	}
	if strings.Contains(text, "dates:") {
		t.Error("YYYY-MM-DD needs no layout")
	}
}

func TestDraftOfWideScores(t *testing.T) {
	folder, text := drafted(t, map[string]string{
		"procedures.csv": "patient,side,day,procedure,occasion\np1,left,2011-03-04,reverse,primary\n",
		"scores.csv":     "patient;side;seen;oss_pre;oss_12m\np1;left;13.03.2012;12;40\n",
	})
	holds(t, text, "#? wide:", "#? oss_pre: {instrument: oxford, day: seen}", "#? oss_12m: {instrument: oxford, day: seen, after: 12 months}",
		"dates: {day: DD.MM.YYYY}")
	settled := decide(t, text, map[string]string{"data_cut": "data_cut: 2015-12-31", "wide:": "wide:", "oss_pre": "oss_pre: {instrument: oxford, day: seen}",
		"oss_12m": "oss_12m: {instrument: oxford, day: seen, after: 12 months}"})
	p, err := plan.Parse(filepath.Join(folder, "plan.yaml"), []byte(settled))
	if err != nil || len(p.Sources) != 2 || len(p.Sources[1].Wide) != 2 {
		t.Errorf("%v\n%s", err, settled)
	}
}

func TestWindows1252IsSaid(t *testing.T) {
	_, text := drafted(t, map[string]string{"deaths.csv": "patient,day,Stra\xdfe\np1,2014-02-28,12 Invented Road\n"})
	holds(t, text, "encoding: windows-1252", `"Straße" may identify people: places smaller than a state`)
}

func TestAFileThatFitsNothing(t *testing.T) {
	_, text := drafted(t, map[string]string{"x.csv": "a,b\n1,2\n"})
	holds(t, text, "Which table is this?", "#? ???:", `# "a": whole numbers`)
}

func TestTwoLayoutsAreNotChosenBetween(t *testing.T) {
	for name, test := range map[string]struct {
		values []string
		want   string
	}{
		"both":           {[]string{"03/04/2011", "05/06/2012"}, "DD/MM/YYYY | MM/DD/YYYY"},
		"a 13th tells":   {[]string{"03/04/2011", "13/06/2012"}, "DD/MM/YYYY"},
		"month first":    {[]string{"03/14/2011", "NA"}, "MM/DD/YYYY"},
		"no such day":    {[]string{"31.02.2011"}, ""},
		"two digits":     {[]string{"03/04/11"}, ""},
		"eight digits":   {[]string{"20110403"}, "YYYYMMDD"},
		"half and half":  {[]string{"03/14/2011", "03/15/2011", "04/04/2012", "05/05/2012", "06/06/2012", "2013-01-01", "2013-01-02", "2013-01-03", "2013-01-04", "2013-01-05"}, "[YYYY-MM-DD, MM/DD/YYYY]"},
		"half undecided": {[]string{"03/04/2011", "03/05/2011", "04/04/2012", "05/05/2012", "06/06/2012", "2013-01-01", "2013-01-02", "2013-01-03", "2013-01-04", "2013-01-05"}, "[YYYY-MM-DD, DD/MM/YYYY | MM/DD/YYYY]"},
		"a long number":  {[]string{"99110403"}, ""},
	} {
		_, paths := exports(t, map[string]string{"x.csv": "day,b\n" + strings.Join(test.values, ",\n") + ",\n"})
		d, err := Look(context.Background(), filepath.Dir(paths[0]), paths)
		if err != nil {
			t.Fatal(err)
		}
		if p := d.groups[0].columns[0]; len(p.families) == 0 && test.want != "" || len(p.families) > 0 && p.written() != test.want {
			t.Errorf("%s: %v, want %s", name, p.families, test.want)
		}
	}
}

func TestFilesThatCannotBeLookedAt(t *testing.T) {
	folder, paths := exports(t, map[string]string{"in/empty.csv": "", "out.csv": "a\n1\n"})
	_, err := Look(context.Background(), filepath.Join(folder, "in"), append(paths, filepath.Join(folder, "in", "absent.csv")))
	if err == nil {
		t.Fatal("nothing is wrong")
	}
	for _, want := range []string{"empty.csv", "out.csv", "does not lie in the folder", "absent.csv"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("the message does not hold %q:\n%v", want, err)
		}
	}
}

func TestTwoColumnsOfOneName(t *testing.T) {
	folder, paths := exports(t, map[string]string{"twice.csv": "a,a\n1,2\n"})
	if _, err := Look(context.Background(), folder, paths); err == nil || !strings.Contains(err.Error(), "twice.csv") {
		t.Errorf("got %v", err)
	}
}

// Whatever stands in an export, the draft is well-formed, the same twice, and says no rare value of a column of texts.
func TestDraftOfAnything(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		cell := rapid.SampledFrom([]string{"", "a", "NA", "-", "12", "0.5", "left", "x: y", "# no", "\"\"\"q\"\"\"", "'", "2011-02-03", "03/04/2011", "Zq7rare", "ü", "true", "?"})
		header := rapid.SampledFrom([]string{"patient", "side", "day", "x: y", "#a", "null", "yes", "follow_up", "a b", "'", "E-Mail", "age", "outcome", "oss_12m"})
		names := rapid.SliceOfNDistinct(header, 2, 6, rapid.ID[string]).Draw(rt, "header")
		var b strings.Builder
		b.WriteString(strings.Join(names, ",") + "\n")
		for range rapid.IntRange(0, 8).Draw(rt, "rows") {
			row := make([]string, len(names))
			for i := range row {
				row[i] = cell.Draw(rt, "cell")
			}
			b.WriteString(strings.Join(row, ",") + "\n")
		}
		folder, paths := exports(t, map[string]string{"shoulders.csv": b.String()})
		var plans [2][]byte
		for i := range plans {
			d, err := Look(context.Background(), folder, paths)
			if err != nil {
				rt.Fatalf("%v\n%s", err, b.String())
			}
			plans[i] = d.Plan()
		}
		if !bytes.Equal(plans[0], plans[1]) {
			rt.Fatal("two drafts of one file differ")
		}
		_, err := plan.Parse(filepath.Join(folder, "plan.yaml"), plans[0])
		if err != nil && (strings.Contains(err.Error(), "YAML") || strings.Contains(err.Error(), "stands twice") || strings.Contains(err.Error(), "is nothing")) {
			rt.Fatalf("%v\n%s\n%s", err, b.String(), plans[0])
		}
	})
}

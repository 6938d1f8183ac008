package main

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"deltoid/pipeline/record"
	"deltoid/stats/power"
)

// powered runs power and returns the files of its report and what it printed.
func powered(t *testing.T, args ...string) (out string, files map[string][]byte, printed string) {
	t.Helper()
	out = filepath.Join(t.TempDir(), "report")
	code, stdout, stderr := call(append([]string{"power", "--out", out}, args...)...)
	if code != exitDone {
		t.Fatalf("%v: exit %d\n%s", args, code, stderr)
	}
	files = map[string][]byte{}
	err := filepath.WalkDir(out, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(out, path)
		if err == nil {
			files[filepath.ToSlash(name)], err = os.ReadFile(path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out, files, stdout
}

var lachinFoulkes = []string{"survival-of-two-groups", "--first", "0.18126924692201815", "--at", "1", "--hazard-ratio", "0.5", "--recruitment", "0.5", "--follow-up", "1.5",
	"--loss", "0.09516258196404048", "--deaths", "0", "--formula", "Lachin-Foulkes", "--significance", "2.5%", "--sides", "1", "--power", "90%"}

// The worked example of Lachin and Foulkes (Biometrics 1986;42:507; printed as 430 and 91 events in the snapshots of
// keaven/gsDesign), from the command line to the rows of the estimates: hazards 0.2 and 0.1, loss 0.1, recruitment 0.5 of 2
// years.
func TestPowerFromFlags(t *testing.T) {
	out, files, printed := powered(t, lachinFoulkes...)
	rows := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
	id := "survival-of-two-groups."
	for name, want := range map[string]float64{"unrounded": 429.6188598866, "recruited.1": 215, "recruited.2": 215, "assumed.size": 430, "assumed.significance": 0.025} {
		if got := rows[id+name].number(t, "value"); math.Abs(got-want) > 1e-8*want {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
	if events := rows[id+"events"].number(t, "value"); math.Abs(events-90.0987488614*430/429.6188598866) > 1e-6 {
		t.Errorf("%v events", events)
	}
	const want = "430 shoulders (215 in the first group, 215 in the second group) have to be recruited for a power of 90% to find a hazard ratio of 0.5 for the second group against the first group"
	if !strings.Contains(printed, want) || !strings.Contains(string(files["report.md"]), want) {
		t.Errorf("the sentence is not printed, or not in the report: %s", printed)
	}
	for _, name := range []string{"report.html", "report.ipynb", "tables/estimates.parquet", "figures/survival-of-two-groups-by-size.svg",
		"figures/survival-of-two-groups-by-effect.csv", "figures/survival-of-two-groups-by-recruitment.pdf", "run-record.json", powerPlanFile} {
		if len(files[name]) == 0 {
			t.Errorf("%s was not written", name)
		}
	}
	if !strings.Contains(string(files["report.md"]), "Biometrics 1986;42:507") {
		t.Error("the source is not named")
	}
	// What the command line stood for lies beside the report and gives the same numbers again.
	again, _, _ := powered(t, filepath.Join(out, powerPlanFile))
	a, b := readBytes(t, out, "tables/estimates.csv"), readBytes(t, again, "tables/estimates.csv")
	if !bytes.Equal(a, b) {
		t.Error("the saved plan gives other numbers")
	}
	run, err := record.Read(out)
	if err != nil || run.Plan.Path != powerPlanFile || run.Plan.SHA256 == "" || len(run.Settings) < 10 {
		t.Errorf("run record: %+v, %v", run.Plan, err)
	}
}

func readBytes(t *testing.T, dir, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Every kind of study is worked out, drawn and written.
func TestEveryDesignIsReported(t *testing.T) {
	out, first, _ := powered(t, filepath.Join(testdata, "power", "every-design.yaml"))
	page := string(first["report.md"])
	for _, d := range power.Designs() {
		if !strings.Contains(page, "study: "+d.ID) {
			t.Errorf("the report says nothing of the design %q", d.ID)
		}
	}
	for _, slip := range []string{"{", "}", "[[", "NaN", "Inf"} {
		if strings.Contains(strings.ReplaceAll(page, "](", ""), slip) {
			t.Errorf("%q is in the report", slip)
		}
	}
	for id, r := range readEstimates(t, filepath.Join(out, "tables", "estimates.csv")) {
		if r["status"] != "estimated" && r["note"] == "" {
			t.Errorf("%s has no value and no reason", id)
		}
	}
}

// The formula and the studies made up by other code agree; every byte is the same whatever the number of processors.
func TestMadeUpStudiesAgree(t *testing.T) {
	plan := filepath.Join(testdata, "power", "next-study.yaml")
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	_, first, _ := powered(t, plan)
	runtime.GOMAXPROCS(5)
	out, second, printed := powered(t, plan)
	for name, data := range first {
		if !bytes.Equal(data, second[name]) {
			t.Errorf("%s differs with the number of processors", name)
		}
	}
	rows := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
	made := rows["revision.simulated"]
	if want := rows["revision.reached"].number(t, "value"); made.number(t, "lower") > want || made.number(t, "upper") < want {
		t.Errorf("power %v by formula, %v in made-up studies", want, made)
	}
	if !strings.Contains(printed, "Of 400 studies made up") {
		t.Errorf("the made-up studies are not told: %s", printed)
	}
	run, err := record.Read(out)
	if err != nil || run.Seed == nil {
		t.Errorf("the record has no seed: %v", err)
	}
}

// What is wrong on the command line is said with the name of its flag; exit code 2, and nothing is written.
func TestPowerRefuses(t *testing.T) {
	for _, c := range []struct {
		args string
		says []string
	}{
		{"two-means --difference 5 --sd 10 --power 0.8", []string{"--loss: is missing", "0 when nobody will be"}},
		{"two-means --difference 0 --sd 10 --loss 0 --power 0.8", []string{"--difference: ", "nothing to find"}},
		{"two-proportions --first 120% --second 0.2 --loss 0 --power 0.8", []string{"--first: ", "above 0 and below 1"}},
		{"two-means --difference 5% --sd 10 --loss 0 --power 0.8", []string{"--difference: ", "in percent"}},
		{"two-means --difference five --sd 10 --loss 0 --power 0.8", []string{"--difference: ", "no number"}},
		{"two-means --differnce 5", []string{`no flag "--differnce"`, `did you mean "--difference"?`}},
		{"two-means --zzzz 5", []string{`no flag "--zzzz"`, "deltoid power two-means --help"}},
		{"two-meens --sd 10", []string{`did you mean "two-means"?`}},
		{"two-means 5", []string{"takes no argument"}},
		{"two-means --difference 5 --sd 10 --loss 0 --power 0.8 --groups one", []string{"--groups takes two names"}},
		{"two-meens", []string{`did you mean "two-means"?`}},
		{"survival-of-two-groups --first 5% --at 5 --direction lower --size 40 --recruitment 1 --follow-up 4 --loss 0 --deaths 0 --power 0.8", []string{"--size: no effect can be detected", "a larger size"}},
		{filepath.Join(testdata, "broken", "power", "keys.yaml"), []string{"keys.yaml:3:1", `did you mean "title"?`}},
		{"nowhere.yaml", []string{"the plan does not exist"}},
	} {
		out := filepath.Join(t.TempDir(), "report")
		code, stdout, stderr := call(append(strings.Fields("power "+c.args), "--out", out)...)
		if code != exitPlan || stdout != "" {
			t.Errorf("%s: exit %d, printed %q", c.args, code, stdout)
		}
		for _, want := range c.says {
			if !strings.Contains(stderr, want) {
				t.Errorf("%s: %q is not said in\n%s", c.args, want, stderr)
			}
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: something was written", c.args)
		}
	}
}

// Help lists every design with its question, and every assumption of a design with a line.
func TestPowerHelp(t *testing.T) {
	_, help, _ := call("power")
	for _, d := range power.Designs() {
		if !strings.Contains(help, hyphened(d.ID)) || !strings.Contains(help, d.Question) {
			t.Errorf("help says nothing of %q", d.ID)
		}
		code, text, _ := call("power", hyphened(d.ID), "--help")
		for _, taken := range d.Takes {
			if code != exitDone || !strings.Contains(text, "--"+hyphened(string(taken.Name))+" ") || !strings.Contains(text, taken.Words+": "+taken.Help) {
				t.Errorf("%s: help does not explain %q", d.ID, taken.Name)
			}
		}
	}
}

func TestPowerPrintsJSON(t *testing.T) {
	_, _, printed := powered(t, append([]string{"--json"}, lachinFoulkes...)...)
	var result powerOutcome
	if err := json.Unmarshal([]byte(printed), &result); err != nil || len(result.Sentences) < 2 || len(result.Files) < 5 {
		t.Errorf("%v: %s", err, printed)
	}
}

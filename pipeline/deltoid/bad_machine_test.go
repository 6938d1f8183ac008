//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// smallFiles makes the test program the real one, in a process that may write no large file. To the program that is a disk
// that has filled up: a write ends half-way with an error. A disk that is really full is met at /dev/full.
const smallFiles = "DELTOID_TEST_SMALL_FILES"

func init() {
	if os.Getenv(smallFiles) == "" {
		return
	}
	signal.Ignore(syscall.SIGXFSZ)
	const most = 20_000
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: most, Max: most}); err != nil {
		os.Exit(99)
	}
	os.Exit(execute(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
}

func TestADiskThatFillsWhileTheReportIsWritten(t *testing.T) {
	plan, _ := invented(t)
	out := filepath.Join(t.TempDir(), "report")
	if code, _, stderr := call("run", plan, "--out", out); code != exitDone {
		t.Fatal(stderr)
	}
	before, err := os.ReadFile(filepath.Join(out, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	cmd := exec.Command(os.Args[0], "run", plan, "--out", out, "--json")
	cmd.Env, cmd.Stdout, cmd.Stderr = append(os.Environ(), smallFiles+"=1"), &stdout, &stderr
	err = cmd.Run()
	if cmd.ProcessState.ExitCode() != exitFault || !strings.Contains(stderr.String(), "the disk is full, or your share of it is") || !strings.Contains(stderr.String(), "make room") {
		t.Errorf("%v: %s", err, stderr.String())
	}
	var f failed
	if err := json.Unmarshal(stdout.Bytes(), &f); err != nil || f.ExitCode != exitFault || len(f.Problems) != 1 || f.Problems[0].Kind != "fault" {
		t.Errorf("on stdout: %v\n%s", err, stdout.String())
	}
	if after, err := os.ReadFile(filepath.Join(out, "report.html")); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the earlier report does not stand: %v", err)
	}
	if left, err := os.ReadDir(filepath.Dir(out)); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// What is printed onto a full disk is an error too, though the report stands.
func TestAResultThatCannotBePrinted(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer full.Close()
	plan, _ := invented(t)
	for _, args := range [][]string{{"check", plan}, {"check", plan, "--json"}} {
		var stderr bytes.Buffer
		if code := execute(t.Context(), args, full, &stderr); code != exitFault || !strings.Contains(stderr.String(), "the result cannot be printed: no space left on device") {
			t.Errorf("%v: exit code %d: %s", args, code, stderr.String())
		}
	}
}

// whenSaid does something when the progress says something.
type whenSaid struct {
	words string
	do    func()
}

func (w *whenSaid) Write(p []byte) (int, error) {
	if strings.Contains(string(p), w.words) && w.do != nil {
		do := w.do
		w.do = nil
		do()
	}
	return len(p), nil
}

// A file that is written to, or replaced, while a run reads it ends the run, in whatever format it is.
func TestAFileThatChangesWhileItIsRead(t *testing.T) {
	for name, change := range map[string]struct{ file, when string }{
		"before it is opened":   {"procedures.csv", "Reading procedures"},
		"while it is read":      {"procedures.csv", "Reading procedures … 100%"},
		"when it has been read": {"procedures.csv", "Reading deaths"},
	} {
		t.Run(name, func(t *testing.T) {
			plan, dir := invented(t)
			file := filepath.Join(dir, "exports", change.file)
			append1 := func() {
				text, err := os.ReadFile(file)
				if err != nil {
					t.Error(err)
				}
				write(t, file, string(text)+"\n")
			}
			out := filepath.Join(t.TempDir(), "report")
			_, err := runPlan(t.Context(), plan, out, &progress{to: &whenSaid{change.when, append1}})
			if err == nil || !strings.Contains(err.Error(), change.file+": the file changed while it was read") || exitCode(t.Context(), err) != exitExport {
				t.Errorf("%v", err)
			}
			if _, err := os.Stat(out); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("there is a report: %v", err)
			}
		})
	}
}

// Whatever is wrong, JSON is one object that says all of it and the exit code.
func TestFailuresAreOneObject(t *testing.T) {
	plan, dir := invented(t)
	edit(t, plan, func(s string) string {
		return strings.ReplaceAll(s, "exports/deaths.csv", "../deaths.csv")
	})
	broken := filepath.Join(dir, "broken.yaml")
	write(t, broken, "plan: 1\nstudy: a b\nexports: {}\n")
	for name, test := range map[string]struct {
		args     []string
		code     int
		kind     string
		problems int
		says     string
	}{
		"a path that leaves the folder": {[]string{"run", plan, "--json"}, exitPlan, "plan", 1, "leaves the folder of the plan"},
		"a plan with many faults":       {[]string{"check", broken, "--json"}, exitPlan, "plan", 5, ""},
		"no plan":                       {[]string{"run", filepath.Join(dir, "none.yaml"), "--json"}, exitPlan, "plan", 1, "none.yaml"},
		"no such file to draft from":    {[]string{"draft", filepath.Join(dir, "exports", "none.csv"), filepath.Join(dir, "exports", "nor.csv"), "--json"}, exitExport, "export", 2, "there is no such file"},
		"no such command":               {[]string{"rum", plan, "--json"}, exitPlan, "command line", 1, `did you mean \"run\"`},
		"no such flag":                  {[]string{"run", plan, "--jason", "--json"}, exitPlan, "command line", 1, "--jason"},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := call(test.args...)
			var f failed
			d := json.NewDecoder(strings.NewReader(stdout))
			if err := d.Decode(&f); err != nil || d.More() {
				t.Fatalf("not one object: %v\n%s%s", err, stdout, stderr)
			}
			if code != test.code || f.ExitCode != code || len(f.Problems) != test.problems || f.Problems[0].Kind != test.kind || !strings.Contains(stdout, test.says) {
				t.Errorf("exit code %d\n%s", code, stdout)
			}
		})
	}
}

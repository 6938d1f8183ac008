package record

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// childTarget names the environment variable that makes the test program a run that never ends.
const childTarget = "DELTOID_RECORD_CHILD_TARGET"

func TestMain(m *testing.M) {
	if target := os.Getenv(childTarget); target != "" {
		writeForever(target)
	}
	os.Exit(m.Run())
}

// writeForever stages a report, says so, and goes on writing until it is killed.
func writeForever(target string) {
	f, err := Stage(target)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	w, err := f.Create("report.html")
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	for n := 0; ; n++ {
		if _, err := w.Write([]byte(strings.Repeat("half a page ", 10_000))); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		switch {
		case n == 10:
			fmt.Println("writing")
		case n > 100: // enough on the disk
			select {}
		}
	}
}

// killedRun starts a run, waits until it is in the middle of a file, and kills it.
func killedRun(t *testing.T, target string) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childTarget+"="+target)
	out, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || line != "writing\n" {
		t.Errorf("the run says %q, %v", line, err)
	}
	must(t, child.Process.Kill())
	if err := child.Wait(); err == nil {
		t.Error("the run ended by itself")
	}
}

func leftOvers(t *testing.T, target string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(filepath.Dir(target), ".*"))
	must(t, err)
	return found
}

func TestKilledRunLeavesTheLastReport(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	put(t, target, "good")
	killedRun(t, target)
	wantPage(t, target, "good")
	if differences, err := Check(target); err != nil || len(differences) > 0 {
		t.Errorf("the last report does not match its record: %v, %v", differences, err)
	}
	if len(leftOvers(t, target)) != 1 {
		t.Errorf("left over: %v", leftOvers(t, target))
	}
	put(t, target, "next")
	wantPage(t, target, "next")
	wantAlone(t, target)
}

// A run that is alive keeps its folder when another begins.
func TestLivingRunIsNotDisturbed(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	slow, err := Stage(target)
	must(t, err)
	must(t, slow.Write("report.html", []byte("slow")))
	put(t, target, "quick")
	wantPage(t, target, "quick")
	must(t, slow.Commit(New("1", "s")))
	wantPage(t, target, "slow")
	wantAlone(t, target)
}

// Killed between the two moves of a commit: the earlier report waits beside the target.
func TestKilledBetweenTheMoves(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	put(t, target, "good")
	must(t, os.Rename(target, previous(target)))
	f, err := Stage(target)
	must(t, err)
	wantPage(t, target, "good")
	must(t, f.Abandon())
	wantAlone(t, target)
}

// Killed after the second move: the new report stands, and the earlier one is still to be removed.
func TestKilledBeforeRemoval(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	put(t, target, "old")
	must(t, os.Rename(target, previous(target)))
	aside := filepath.Join(filepath.Dir(target), "aside")
	must(t, os.Rename(previous(target), aside))
	put(t, target, "new")
	must(t, os.Rename(aside, previous(target)))
	f, err := Stage(target)
	must(t, err)
	must(t, f.Abandon())
	wantPage(t, target, "new")
	wantAlone(t, target)
}

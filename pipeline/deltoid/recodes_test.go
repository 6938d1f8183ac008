package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The counts of a recode log are for the owner's eyes: the screen of check and a private file, never the tables to share.
func TestRecodesAreCountedInPrivate(t *testing.T) {
	path := readyPlan(t, "follow_up,outcome\n100,dead\n200,ok\n300,ok\n", "    recode: {outcome: {dead: died, ok: unrevised, gone: died}}\n",
		"  - {id: all, kind: implant survival, endpoint: death, times: [0.1]}\n")
	out := filepath.Join(t.TempDir(), "report")
	for _, args := range [][]string{{"check", path, "--out", out + "-check"}, {"run", path, "--out", out}} {
		var said, wrong bytes.Buffer
		if code := execute(t.Context(), args, &said, &wrong); code != exitDone {
			t.Fatalf("%v: exit %d: %s%s", args, code, said.String(), wrong.String())
		}
		if line := "recoded in shoulders, outcome: dead → died 1; gone → died 0; ok → unrevised 2"; args[0] == "check" && !strings.Contains(said.String(), line) {
			t.Errorf("%q is missing from\n%s", line, said.String())
		}
	}
	for _, folder := range []string{out, out + "-check"} {
		list := filepath.Join(folder, "set-aside", "recodes.csv")
		text, err := os.ReadFile(list)
		if err != nil {
			t.Fatal(err)
		}
		if want := "table,field,from,to,cells\nshoulders,outcome,dead,died,1\nshoulders,outcome,gone,died,0\nshoulders,outcome,ok,unrevised,2\n"; string(text) != want {
			t.Errorf("%s holds\n%s, want\n%s", list, text, want)
		}
		if info, err := os.Stat(list); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s can be opened by others: %v, %v", list, info.Mode(), err)
		}
	}
	for _, name := range []string{qualityFile, asideFolder + "/tables/estimates.csv", asideFolder + "/tables/estimates.parquet"} {
		if info, err := os.Stat(filepath.Join(out+"-check", name)); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("the page about the exports is not private: %v, %v", info, err)
		}
	}
	shared, err := os.ReadFile(filepath.Join(out, "tables", "estimates.csv"))
	if err != nil || strings.Contains(string(shared), "recode") {
		t.Errorf("the table to share tells of recodes (%v)", err)
	}
}

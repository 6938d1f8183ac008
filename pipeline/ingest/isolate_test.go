package ingest

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"deltoid/schemas"
)

// ofChild reads a Parquet file with a reader that a test has changed.
func ofChild(t *testing.T, change func(*reader)) error {
	t.Helper()
	src := export(t, schemas.Source{}, [2]string{"a.parquet", string(sampleParquet(t, 2000))})
	r := &reader{schema: few(), src: &src, workers: 2, patience: patience, memory: childMemory}
	change(r)
	_, err := r.read(t.Context(), &schemas.Findings{})
	var ps schemas.Problems
	if rest := collect(&ps, err); rest != nil || len(ps) != 1 || ps[0].Where != "a.parquet" || ps[0].Remedy == "" {
		t.Fatalf("not one problem of the file: %v", err)
	}
	return ps[0]
}

// endBadly makes a child of this test end as the environment asks, before it does anything else.
const endBadly = "DELTOID_TEST_END"

var _ = func() int {
	if len(os.Args) < 2 || os.Args[1] != childMark {
		return 0
	}
	switch os.Getenv(endBadly) {
	case "panic":
		go panic("on a goroutine that nobody can recover")
		select {}
	case "memory":
		limitMemory(1 << 20)
		return len(make([]byte, 1<<30))
	case "silence":
		os.Exit(0)
	}
	return 0
}()

func TestAChildThatCrashesIsAProblemOfItsFile(t *testing.T) {
	for how, want := range map[string]string{"panic": "panic: on a goroutine that nobody can recover", "silence": "the process that reads it ended"} {
		t.Setenv(endBadly, how)
		if err := ofChild(t, func(*reader) {}); !strings.Contains(err.Error(), want) {
			t.Error(err)
		}
	}
}

func TestAChildThatSaysNothingIsAProblemOfItsFile(t *testing.T) {
	if err := ofChild(t, func(r *reader) { r.patience = time.Microsecond }); !strings.Contains(err.Error(), "made no progress") {
		t.Error(err)
	}
}

func TestACancelledReadingEndsItsChild(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"a.parquet", string(sampleParquet(t, 2000))})
	ctx, cancel := context.WithCancel(t.Context())
	r := &reader{schema: few(), src: &src, workers: 2, patience: patience, memory: childMemory}
	r.progress = func(int64, int64) { cancel() }
	if _, err := r.read(ctx, &schemas.Findings{}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// Damage through the child, at a few places: the same problems as without one.
func TestDamageInAChildIsTheSameProblem(t *testing.T) {
	whole := sampleParquet(t, 40)
	path := filepath.Join(t.TempDir(), "a.parquet")
	for i := range 20 {
		b := bytes.Clone(whole)
		b[i*(len(b)-1)/19] ^= 0x40
		want := readDamaged(t, path, few(), b)
		_, got := Read(t.Context(), few(), schemas.Source{Table: "few", Files: []string{path}, Shown: []string{"a.parquet"}}, &schemas.Findings{}, nil)
		if (got == nil) != (want == nil) || got != nil && got.Error() != want.Error() {
			t.Errorf("byte %d: got %v, want %v", i, got, want)
		}
	}
}

// Everything that a column can hold comes over unchanged: all kinds of values and every sort of flaw, in both ways.
func TestFramesCarryColumnsUnchanged(t *testing.T) {
	src := export(t, schemas.Source{Recode: map[string]map[string]string{"implant": {"AB1": "AB2"}}, Units: map[string]schemas.Unit{"follow_up": schemas.Months}},
		[2]string{"a.csv", header + "1,left,2020-02-29,3,71.5,AB1,12\n,x,y,z,w,v,u\n3,right,,,,,\n"})
	r := &reader{schema: few(), src: &src, chunkSize: 1 << 20, workers: 1}
	if _, err := r.read(t.Context(), &schemas.Findings{}); err != nil {
		t.Fatal(err)
	}
	for i, sp := range r.specs {
		c := newColumn(sp, 0)
		for _, cell := range []string{"1", "left", "2020-02-29", "AB1", "", "\xff", strings.Repeat("x", 300)} {
			c.text([]byte(cell))
		}
		var b bytes.Buffer
		(&frameWriter{w: &b}).send(&frame{Column: &columnFrame{Group: 4, Spec: i, column: c}})
		var f frame
		if err := readFrame(&b, &f); err != nil {
			t.Fatal(err)
		}
		got := &column{spec: sp}
		got.resize(f.Column.Rows)
		if err := f.Column.unpack(&b, got); err != nil {
			t.Fatal(err)
		}
		same(t, sp.field.Name+" values", got.values(), c.values())
		same(t, sp.field.Name+" texts", string(got.bytes), string(c.bytes))
		same(t, sp.field.Name+" counts", []any{got.recoded, got.written, got.rounded, len(got.flaws), b.Len()}, []any{c.recoded, c.written, c.rounded, len(c.flaws), 0})
		for k := range got.flaws {
			if got.flaws[k] != c.flaws[k] {
				t.Errorf("%s: flaw %v, want %v", sp.field.Name, got.flaws[k], c.flaws[k])
			}
		}
	}
}

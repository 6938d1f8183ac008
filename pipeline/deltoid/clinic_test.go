package main

import (
	"bytes"
	"strings"
	"testing"
)

// A sheet of a workbook, moments in a time zone and scores in columns go through the whole house, and what reading them
// found out is told.
func TestWhatAClinicHasIsReadAndAccountedFor(t *testing.T) {
	var out, said bytes.Buffer
	if code := execute(t.Context(), []string{"check", root + "/testdata/plans/clinic.yaml"}, &out, &said); code != exitDone {
		t.Fatalf("exit %d: %s%s", code, out.String(), said.String())
	}
	for _, want := range []string{
		"procedures: 2 read = 2 used + 0 set aside + 0 unlinked",
		"scores: 5 read = 5 used + 0 set aside + 0 unlinked",
		"exports/clinic.xlsx: sheet: Operations; ",
		"exports/scores-wide.csv: encoding: Windows-1252; delimiter: semicolon; ",
		"scores in columns: 2 rows times 3 columns = 5 scores + 1 empty cells"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing from\n%s", want, out.String())
		}
	}
}

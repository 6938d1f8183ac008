package plan_test

import (
	"fmt"

	"deltoid/pipeline/plan"
)

// A plan that is right is read with its defaults filled in. The paths start at the folder of the plan.
func ExampleRead() {
	p, err := plan.Read("../../testdata/plans/ready.yaml")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range p.Settings() {
		fmt.Println(s[0]+":", s[1])
	}
	// Output:
	// plan: 1
	// study: ready
	// title: Ready rows
	// invented: false
	// exports.shoulders.files: exports/shoulders.csv
	// exports.shoulders.format: by the ending of each file
	// exports.shoulders.delimiter: found from the header line
	// exports.shoulders.decimal: point
	// exports.shoulders.units.follow_up: months
	// cohort.name: All shoulders
	// endpoints.revision.label: revision for any reason
	// endpoints.revision.event: revised
	// endpoints.revision.competing: died, other_event
	// analyses.implant-survival-revision.kind: implant survival
	// analyses.implant-survival-revision.endpoint: revision
	// analyses.implant-survival-revision.times: 1
	// analyses.implant-survival-revision.unit: years
	// analyses.implant-survival-revision.until: 1
	// analyses.implant-survival-revision.headline: cumulative incidence
	// analyses.implant-survival-revision.level: 0.95
	// analyses.implant-survival-revision.interval: complementary log-log
	// analyses.implant-survival-revision.variance: clustered
	// outputs: html, markdown, notebook, figures
	// disclosure.mask_below: 5
}

// Everything that is wrong with a plan is said at once, each with its place, what is allowed and how to mend it.
func ExampleParse() {
	_, err := plan.Parse("../../testdata/plans/mine.yaml", []byte(`plan: 1
study: mine
title: Revisions
exports:
  shoulders: {file: exports/shoulders.csv}
endpoints:
  revision: {event: revised}
analyses:
  - {kind: implant survival, endpoint: revision, times: [1, 5], level: 95}
`))
	fmt.Println(err)
	// Output:
	// ../../testdata/plans/mine.yaml:5:14: the key "files" is missing from exports.shoulders; to mend it: name the file, as in "files: exports/shoulders.csv"
	// ../../testdata/plans/mine.yaml:5:15: no such key "file"; allowed: files, format, delimiter, decimal, columns, recode, dates, missing, units, extra, encoding, sheet, zones, wide, items, scales, sha256, reviewed, drop; to mend it: did you mean "files"?
	// ../../testdata/plans/mine.yaml:9:72: level is 95; allowed: a number between 0.5 and 1, without the two; to mend it: write 0.95
}

// Package witness holds the estimators against the field's reference library while both run: its
// tests draw data afresh, have them analysed there and here, and compare.
//
// The tests of the estimators themselves rest on stored results. These are for what nobody thought
// of storing. They run where the environment variable DELTOID_R names the program that runs the
// scripts of testdata/references/scripts, as it does in .ci/run:
//
//	DELTOID_R=Rscript go test -count=1 -v ./stats/witness
//
// One test is of curves, tests and rates (live.R), another of models (live_models.R).
//
// The seed is printed; DELTOID_SEED draws the same data again. Without DELTOID_R the test says what
// it did not run and passes.
package witness

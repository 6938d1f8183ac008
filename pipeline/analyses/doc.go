// Package analyses turns a cohort into the report as data. It is the one place that knows both who is counted and how
// it is computed; days become years only here.
//
// Each file holds one section: what came in (accounts.go), who is counted (flow.go), and one file for each kind of
// analysis. [Assemble] puts them together.
package analyses

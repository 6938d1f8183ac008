// Package analyses turns a cohort into the report as data. It is the one place that knows both who is counted and how
// it is computed; days become years only here.
//
// Each file holds one section, or a part of one: what came in (accounts.go), who is counted (flow.go), and one family of
// files for each kind of analysis. Those that follow shoulders over time share followed.go. [Assemble] puts them together.
package analyses

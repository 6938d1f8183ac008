// Package render turns a report that disclosure has cleared into files: a page, its Markdown twin, a notebook, the
// estimates as CSV and Parquet, and every figure as SVG, PDF and the data behind it.
//
// It formats and draws; it computes nothing. Words for numbers come from [report.Format] alone, and every number that it
// writes names the row of tables/estimates.csv it was taken from. The same document gives the same bytes.
//
// A figure is first laid out as a [picture], a list of lines, areas and labels in points. Three painters turn that list
// into SVG, PDF and PNG, so that the numbers at risk stand under their ticks in each of them. Labels typed by people are
// data: [plain] takes control characters out, and each format escapes what it would otherwise read as markup.
package render

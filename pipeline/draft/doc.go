// Package draft writes a first study plan from the exports alone, so that nobody starts from an empty page.
//
// It looks at every cell of every file and says what it saw: columns, types that fit, codes with their counts, layouts of
// dates, marks that look like missing values, columns that may identify people. From the names of columns and codes it
// makes proposals, each with its reason. What the files cannot tell it does not decide: such lines are comments marked
// "#?" that hold the candidates, and the plan is complete when they are settled.
//
// A draft holds no value of a column that may identify people, no count below 5 and no range.
package draft

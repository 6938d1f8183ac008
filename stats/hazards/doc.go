// Package hazards models how covariates change the rate at which something happens: Cox's
// regression with its diagnostics, parametric hazards, and the checks of a model's predictions.
//
// # Cox's model
//
//	fit, err := hazards.Cox(data, 1, columns, hazards.Options{})
//	effect := fit.Effect(0, 0.95)           // log hazard ratio with its interval
//	ratio, lower, upper := effect.Ratio()
//
// The method of ties is chosen once, in Options; residuals, the test of proportional hazards, the
// baseline and the robust variance all take it from the fit and cannot be given another.
//
// # Why nothing is sorted
//
// All who are at risk at one time share one set at risk. With S0 and S1 the sums of r = w·exp(η)
// and of r·z over that set, and A the cumulative baseline hazard, the gradient and the
// information of the partial likelihood are
//
//	U = Σ_rows (w δ − r A) z
//	I = Σ_rows r A z zᵀ − Σ_times dA S1 S1ᵀ/S0
//
// with A taken from a row's entry to its exit: one table with as many entries as there are times
// with an event, and one weighted product of all columns with all. Rows are read as they come.
// Ties by Efron's method change the share of the hazard that the tied rows themselves get, and
// leave the form as it is.
//
// # Rules
//
// Rules for numbers at risk, ties and time 0 are those of package survival: at risk at t means
// entry < t ≤ exit, and at 0 all who are there from the start; an event comes before a censoring
// of the same time. A covariate that changes with time is given as several rows of one subject,
// each from its entry to its exit.
package hazards

// Package regression models an outcome that is yes or no (Logistic) or a count over some time at
// risk (Poisson): responders, rates, case mix.
//
//	fit, err := regression.Logistic(regression.Data{Outcome: responder, Cluster: patient}, columns, regression.Options{})
//	odds, lower, upper := fit.Effect(0, 0.95).Ratio()
//
// Coefficients, tests and statuses are those of covariates.Fit. Rows of one cluster need not be
// independent: the variance is then summed over clusters. Where the data leave an estimate infinite
// the status says separated and names the column; the penalised likelihood has an answer there.
package regression

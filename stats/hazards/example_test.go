package hazards_test

import (
	"fmt"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

// Twelve people, some with a binary mark, followed in whole days.
func twelve() (hazards.Data, []covariates.Column) {
	return hazards.Data{
			Exit:  []int32{120, 340, 365, 400, 730, 800, 900, 1100, 1460, 1500, 1826, 2000},
			Cause: []uint8{1, 0, 1, 1, 0, 1, 1, 0, 1, 0, 1, 0},
		}, []covariates.Column{
			{Name: "mark", Values: []float64{1, 0, 1, 1, 0, 0, 1, 0, 0, 1, 0, 0}},
		}
}

func ExampleCox() {
	data, columns := twelve()
	events, each := hazards.EventsPerCoefficient(data, 1, len(columns))
	fmt.Printf("%d events, %.0f for each coefficient\n", events, each)
	fit, err := hazards.Cox(data, 1, columns, hazards.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	if fit.Status != covariates.Converged {
		fmt.Println(fit.Status, fit.Reason)
		return
	}
	ratio, lower, upper := fit.Effect(0, 0.95).Ratio()
	fmt.Printf("hazard ratio %.2f (%.2f to %.2f), %v\n", ratio, lower, upper, fit.Ties)
	fmt.Printf("likelihood ratio %.2f, p = %.3f\n", fit.LikelihoodRatio().ChiSquare, fit.LikelihoodRatio().P)
	test, _ := fit.Proportionality(hazards.FailedShare)
	fmt.Printf("proportional hazards: p = %.2f\n", test.Global.P)
	// Output:
	// 7 events, 7 for each coefficient
	// hazard ratio 4.04 (0.73 to 22.33), Efron's method for ties
	// likelihood ratio 2.76, p = 0.097
	// proportional hazards: p = 0.21
}

func ExampleFit_Predict() {
	data, columns := twelve()
	fit, _ := hazards.Cox(data, 1, columns, hazards.Options{})
	points, _ := fit.Predict([]hazards.Request{{Values: []float64{0}}, {Values: []float64{1}}}, []float64{365, 1826}, 0.95, survival.LogLog)
	for _, curve := range points {
		for _, p := range curve {
			fmt.Printf("day %.0f: %.2f (%.2f to %.2f)\n", p.T, p.Value, p.Lower, p.Upper)
		}
	}
	// Output:
	// day 365: 0.92 (0.59 to 0.99)
	// day 1826: 0.39 (0.04 to 0.76)
	// day 365: 0.72 (0.24 to 0.93)
	// day 1826: 0.02 (0.00 to 0.48)
}

// A covariate that separates the events is named, and the penalised likelihood has an estimate.
func ExampleOptions_penalised() {
	data, _ := twelve()
	columns := []covariates.Column{{Name: "protected", Values: []float64{0, 1, 0, 0, 1, 0, 0, 1, 0, 1, 0, 0}}}
	fit, _ := hazards.Cox(data, 1, columns, hazards.Options{})
	fmt.Println(fit.Status, fit.AtFault)
	penalised, _ := hazards.Cox(data, 1, columns, hazards.Options{Penalised: true})
	fmt.Printf("%v, %.2f\n", penalised.Status, penalised.Profile(0, 0.95).Estimate)
	// Output:
	// separated [protected]
	// converged, -1.75
}

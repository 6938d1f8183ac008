package regression_test

import (
	"fmt"

	"deltoid/stats/covariates"
	"deltoid/stats/regression"
)

// Eight of twenty responded with a mark, two of twenty without: the odds ratio is 6 and can be had by
// hand, (8·18)/(12·2), as can its standard error, √(1/8 + 1/12 + 1/2 + 1/18).
func ExampleLogistic() {
	var y, mark []float64
	for i := range 40 {
		m, response := 0.0, 0.0
		if i < 20 {
			m = 1
		}
		if i < 8 || i >= 38 {
			response = 1
		}
		y, mark = append(y, response), append(mark, m)
	}
	fit, err := regression.Logistic(regression.Data{Outcome: y}, []covariates.Column{{Name: "mark", Values: mark}}, regression.Options{})
	if err != nil || fit.Status != covariates.Converged {
		fmt.Println(err, fit.Status, fit.Reason)
		return
	}
	e := fit.Effect(0, 0.95)
	odds, lower, upper := e.Ratio()
	fmt.Printf("odds ratio %.2f (%.2f to %.2f), standard error of its log %.4f\n", odds, lower, upper, e.SE)
	// Output:
	// odds ratio 6.00 (1.08 to 33.27), standard error of its log 0.8740
}

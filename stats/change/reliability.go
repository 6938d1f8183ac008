package change

import (
	"math"

	"deltoid/stats/dist"

	"gonum.org/v1/gonum/stat/distuv"
)

// ReliabilityForm says which intraclass correlation is meant. The names in brackets are those of the sources: Shrout & Fleiss,
// then McGraw & Wong.
type ReliabilityForm uint8

const (
	// OneWay: the measurements of a row are interchangeable, such as one rater's today and another's tomorrow [ICC(1), ICC(1)].
	OneWay ReliabilityForm = iota
	// TwoWayAgreement: the same raters (or visits) measure all rows and stand for others; a shift between
	// them counts as error [ICC(2), ICC(A)].
	TwoWayAgreement
	// TwoWayConsistency: the same raters (or visits) measure all rows and are the only ones; a shift between them does not
	// count [ICC(3), ICC(C)].
	TwoWayConsistency
)

// String returns the form in plain words.
func (f ReliabilityForm) String() string {
	switch f {
	case OneWay:
		return "one-way"
	case TwoWayAgreement:
		return "two-way random, absolute agreement"
	case TwoWayConsistency:
		return "two-way mixed, consistency"
	}
	return "unknown form"
}

// ICC is an intraclass correlation.
type ICC struct {
	Estimate
	Form ReliabilityForm
	// Average says that it is about the mean of the measurements of a row instead of one of them.
	Average      bool
	Measurements int
	// Mean squares of the analysis of variance: between rows, within rows, between measurements, and what is left.
	BetweenRows, WithinRows, BetweenMeasurements, Rest float64
}

// Reliability returns an intraclass correlation of measurements[j][i], measurement j of row i. Rows that
// miss a measurement (NaN) are left out; N is the number of the others. Intervals come from the F distribution: exact for OneWay and
// TwoWayConsistency, with Satterthwaite's degrees of freedom for TwoWayAgreement. Rows are taken to be independent.
//
// Sources: Shrout & Fleiss, Psychol. Bull. 86 (1979) 420–428; McGraw & Wong, Psychol. Methods 1 (1996) 30–46, table 7.
func Reliability(measurements [][]float64, form ReliabilityForm, average bool, level float64) (ICC, error) {
	c := ICC{Form: form, Average: average, Measurements: len(measurements)}
	if err := checkMeasurements(measurements, level); err != nil {
		return ICC{}, err
	}
	rows := recorded(measurements...)
	c.N, c.Level = len(rows), level
	if c.State = soundMeasurements(measurements, rows); !c.OK() {
		return c, nil
	}
	c.squares(measurements, rows)
	if c.BetweenRows <= 0 {
		c.State = state(NoSpread, "the rows do not differ, so nothing can be told apart reliably")
		return c, nil
	}
	switch form {
	case OneWay:
		c.byRatio(c.BetweenRows/c.WithinRows, float64(c.N*(c.Measurements-1)))
	case TwoWayConsistency:
		c.byRatio(c.BetweenRows/c.Rest, float64((c.N-1)*(c.Measurements-1)))
	default:
		c.agreement()
	}
	return c, nil
}

func checkMeasurements(measurements [][]float64, level float64) error {
	for _, m := range measurements {
		if err := checkLength("a measurement", len(m), len(measurements[0])); err != nil {
			return err
		}
	}
	return checkLevel(level)
}

func soundMeasurements(measurements [][]float64, rows []int32) State {
	if len(measurements) < 2 || len(rows) < 2 {
		return state(TooFew, "reliability needs 2 rows with 2 measurements; there are %d with %d", len(rows), len(measurements))
	}
	for _, m := range measurements {
		for _, i := range rows {
			if math.IsInf(m[i], 0) {
				return state(OffScale, "row %d is %v", i, m[i])
			}
		}
	}
	return State{}
}

// squares fills the mean squares.
func (c *ICC) squares(measurements [][]float64, rows []int32) {
	n, k := float64(c.N), float64(c.Measurements)
	ofRow, ofMeasurement, all := make([]float64, c.N), make([]float64, c.Measurements), 0.0
	for j, m := range measurements {
		for r, i := range rows {
			ofRow[r] += m[i] / k
			ofMeasurement[j] += m[i] / n
		}
		all += ofMeasurement[j] / k
	}
	var between, within, shift, rest float64
	for r, i := range rows {
		between += float64(k * (ofRow[r] - all) * (ofRow[r] - all))
		for j, m := range measurements {
			d := m[i] - ofRow[r]
			within += float64(d * d)
			left := d - (ofMeasurement[j] - all)
			rest += float64(left * left)
		}
	}
	for _, m := range ofMeasurement {
		shift += float64(n * (m - all) * (m - all))
	}
	c.BetweenRows, c.WithinRows = between/(n-1), within/(n*(k-1))
	c.BetweenMeasurements, c.Rest = shift/(k-1), rest/((n-1)*(k-1))
}

// byRatio fills estimate and limits from the F ratio of mean squares with n − 1 and df degrees of freedom.
func (c *ICC) byRatio(f, df float64) {
	k := float64(c.Measurements)
	of := func(f float64) float64 {
		if math.IsInf(f, 1) {
			return 1
		}
		if c.Average {
			return 1 - 1/f
		}
		return (f - 1) / (f + k - 1)
	}
	c.Value = of(f)
	n1 := float64(c.N - 1)
	c.Lower = of(f / upperF((1-c.Level)/2, n1, df))
	c.Upper = of(f * upperF((1-c.Level)/2, df, n1))
}

// agreement fills estimate and limits of absolute agreement.
func (c *ICC) agreement() {
	n, k := float64(c.N), float64(c.Measurements)
	b, m, e := c.BetweenRows, c.BetweenMeasurements, c.Rest
	single := (b - e) / (b + float64((k-1)*e) + k*(m-e)/n)
	if m == 0 && e == 0 {
		c.Value, c.Lower, c.Upper = 1, 1, 1
		return
	}
	x := k * single / (n * (1 - single))
	y := 1 + k*single*(n-1)/(n*(1-single))
	s := float64(x*m) + float64(y*e)
	v := float64(s*s) / (float64(x*m)*float64(x*m)/(k-1) + float64(y*e)*float64(y*e)/((n-1)*(k-1)))
	lower := func(f float64) float64 {
		return n * (b - float64(f*e)) / (float64(f*(float64(k*m)+float64((float64(k*n)-k-n)*e))) + float64(n*b))
	}
	upper := func(f float64) float64 {
		return n * (float64(f*b) - e) / (float64(k*m) + float64((float64(k*n)-k-n)*e) + float64(n*f*b))
	}
	c.Value, c.Lower, c.Upper = single, lower(upperF((1-c.Level)/2, n-1, v)), upper(upperF((1-c.Level)/2, v, n-1))
	if c.Average {
		c.Value = (b - e) / (b + (m-e)/n)
		mean := func(r float64) float64 { return k * r / (1 + float64((k-1)*r)) }
		c.Lower, c.Upper = mean(c.Lower), mean(c.Upper)
	}
}

// upperF returns the value that a variable of the F distribution exceeds with probability p: gonum's, made good by steps of Newton's method on the upper
// tail.
func upperF(p, df1, df2 float64) float64 {
	d := distuv.F{D1: df1, D2: df2}
	f := d.Quantile(1 - p)
	for range 3 {
		density := d.Prob(f)
		if !(density > 0) {
			break
		}
		f = max(f/2, f+(dist.FUpper(f, df1, df2)-p)/density)
	}
	return f
}

// ErrorOfMeasurement is how far one measurement may lie from the truth, in points of the score.
type ErrorOfMeasurement struct {
	SEM, Detectable90, Detectable95 float64
	State
}

// ErrorFromReliability returns the standard error of measurement SD·√(1 − R) and the smallest detectable changes z·√2·SEM.
func ErrorFromReliability(sd, reliability float64) ErrorOfMeasurement {
	if !(sd > 0) || !(reliability > 0 && reliability <= 1) {
		return ErrorOfMeasurement{State: state(NotDefined, "the error of measurement needs a standard deviation above 0 (found %v) and a reliability from 0 to 1 (found %v)", sd, reliability)}
	}
	return errorOf(sd * math.Sqrt(1-reliability))
}

// ErrorFromRepeats returns the same from two measurements without a change between them: SEM is the standard deviation of the
// differences over √2, so that a shift from the first to the second does not count.
func ErrorFromRepeats(first, second []float64) ErrorOfMeasurement {
	d, s := differences(first, second)
	if !s.OK() {
		return ErrorOfMeasurement{State: s}
	}
	return errorOf(d.moments.SD / math.Sqrt2)
}

func errorOf(sem float64) ErrorOfMeasurement {
	return ErrorOfMeasurement{SEM: sem, Detectable90: detectable(sem, 0.90), Detectable95: detectable(sem, 0.95)}
}

func detectable(sem, level float64) float64 {
	return float64(dist.NormalSpread(level)*math.Sqrt2) * sem
}

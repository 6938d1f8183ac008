package witness_test

import (
	"encoding/csv"
	"io"
	"os"
	"strconv"
	"syscall"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

// modelRows is the file that testdata/references/bench/generate_models.R makes: columns as the reference library makes them of it.
type modelRows struct {
	patient, days []int32
	cause         []uint8
	yes           []float64
	columns       []covariates.Column
}

var factorLevels = []int{2, 2, 2, 3, 3, 4, 4}

func readModelRows(b *testing.B, path string) modelRows {
	b.Helper()
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	var m modelRows
	for _, name := range []string{"age", "year", "mass"} {
		m.columns = append(m.columns, covariates.Column{Name: name})
	}
	for k, levels := range factorLevels {
		for l := 1; l < levels; l++ {
			term := "f" + strconv.Itoa(k+1)
			m.columns = append(m.columns, covariates.Column{Name: term + strconv.Itoa(l), Term: term})
		}
	}
	if _, err := r.Read(); err != nil {
		b.Fatal(err)
	}
	for {
		row, err := r.Read()
		if err == io.EOF {
			return m
		}
		if err != nil {
			b.Fatal(err)
		}
		var x [14]float64
		for i := range x {
			if x[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				b.Fatal(err)
			}
		}
		m.patient, m.days, m.cause, m.yes = append(m.patient, int32(x[0])), append(m.days, int32(x[1])), append(m.cause, uint8(x[2])), append(m.yes, x[3])
		at := 0
		put := func(v float64) {
			m.columns[at].Values = append(m.columns[at].Values, v)
			at++
		}
		for _, v := range x[4:7] {
			put(v)
		}
		for k, levels := range factorLevels {
			for l := 1; l < levels; l++ {
				put(map[bool]float64{true: 1, false: 0}[x[7+k] == float64(l)])
			}
		}
	}
}

func (m modelRows) first(n int) modelRows {
	n = min(n, len(m.days))
	out := modelRows{patient: m.patient[:n], days: m.days[:n], cause: m.cause[:n], yes: m.yes[:n]}
	for _, c := range m.columns {
		c.Values = c.Values[:n]
		out.columns = append(out.columns, c)
	}
	return out
}

// processor is the processor time that the program has used, in seconds: what counts where others work on the same machine.
func processor(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}

// BenchmarkModelsBeside does what models.R has the reference library do, on the file that DELTOID_BENCH_MODELS names.
func BenchmarkModelsBeside(b *testing.B) {
	path := os.Getenv("DELTOID_BENCH_MODELS")
	if path == "" {
		b.Log("not run: DELTOID_BENCH_MODELS names no file; testdata/references/bench/run_models makes one, and times the reference library on it too")
		return
	}
	m := readModelRows(b, path)
	timed := func(name string, run func() error) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			from := processor(b)
			for range b.N {
				if err := run(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((processor(b)-from)/float64(b.N), "cpu-s/op")
		})
	}
	cox := func(m modelRows, cluster []int32) (*hazards.Fit, error) {
		return hazards.Cox(hazards.Data{Exit: m.days, Cause: m.cause, Cluster: cluster}, 1, m.columns, hazards.Options{})
	}
	timed("cox", func() error { _, err := cox(m, nil); return err })
	timed("cox-clustered", func() error { _, err := cox(m, m.patient); return err })
	few := m.first(100_000)
	timed("cox-clustered-100000", func() error { _, err := cox(few, few.patient); return err })
	fit, err := cox(m, nil)
	if err != nil {
		b.Fatal(err)
	}
	timed("proportionality", func() error { _, err := fit.Proportionality(hazards.FailedShare); return err })
	timed("prediction", func() error {
		two := make([]hazards.Request, 2)
		for i := range two {
			for _, c := range m.columns {
				two[i].Values = append(two[i].Values, c.Values[i])
			}
		}
		_, err := fit.Predict(two, []float64{365, 1826, 3652}, 0.95, survival.LogLog)
		return err
	})
	timed("logistic", func() error {
		_, err := regression.Logistic(regression.Data{Outcome: m.yes}, m.columns, regression.Options{})
		return err
	})
	for name, rows := range map[string]modelRows{"fine-gray-20000": m.first(20_000), "fine-gray": m} {
		var x []covariates.Column
		for _, k := range []int{0, 1, 2, 3, 4, 6, 7} {
			x = append(x, rows.columns[k])
		}
		timed(name, func() error {
			_, err := competing.Subdistribution(survival.Data{Exit: rows.days, Cause: rows.cause, Causes: 2}, 1, x, competing.SubdistributionOptions{})
			return err
		})
	}
}

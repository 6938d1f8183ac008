package mixed_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

// dense is the slow, obvious twin: one N × N covariance of all scores, its inverse, and every formula as the books print it.
type dense struct {
	d       mixed.Data
	o       mixed.Options
	x       *mat.Dense // constant last
	y       *mat.VecDense
	patient []int32
}

func newDense(d mixed.Data, columns []covariates.Column, o mixed.Options) *dense {
	n := len(d.Outcome)
	t := &dense{d: d, o: o, x: mat.NewDense(n, len(columns)+1, nil), y: mat.NewVecDense(n, d.Outcome), patient: d.Patient}
	if t.patient == nil {
		t.patient = d.Subject
	}
	for i := range n {
		for j, c := range columns {
			t.x.Set(i, j, c.Values[i])
		}
		t.x.Set(i, len(columns), 1)
	}
	return t
}

func (t *dense) time(i int) float64 {
	if t.d.Time == nil {
		return float64(t.d.Visit[i])
	}
	return t.d.Time[i]
}

// entry is the covariance of scores i and j under parameters in the order of Fit.Parameters.
func (t *dense) entry(theta []float64, i, j int) (sum float64) {
	rest := theta
	if t.o.PatientIntercept {
		if t.patient[i] == t.patient[j] {
			sum += theta[len(theta)-1]
		}
		rest = theta[:len(theta)-1]
	}
	if t.d.Subject[i] != t.d.Subject[j] {
		return sum
	}
	a, b := int(max(t.d.Visit[i], t.d.Visit[j])), int(min(t.d.Visit[i], t.d.Visit[j]))
	switch t.o.Covariance {
	case mixed.Unstructured:
		return sum + rest[a*(a+1)/2+b]
	case mixed.CompoundSymmetric:
		sum += rest[0]
		if i == j {
			sum += rest[1]
		}
		return sum
	case mixed.Autoregressive:
		sum += rest[0] * math.Pow(rest[1], float64(a-b))
		rest = rest[2:]
	case mixed.SpatialPower:
		sum += rest[0] * math.Pow(rest[1], math.Abs(t.time(i)-t.time(j)))
		rest = rest[2:]
	case mixed.Independent:
		if i == j {
			sum += rest[0]
		}
		rest = rest[1:]
	}
	if t.o.SubjectIntercept {
		sum += rest[0]
	}
	if t.o.SubjectSlope {
		sum += rest[1]*(t.time(i)+t.time(j)) + rest[2]*t.time(i)*t.time(j)
	}
	return sum
}

func (t *dense) covariance(theta []float64) *mat.SymDense {
	n := len(t.d.Outcome)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			v.SetSym(i, j, t.entry(theta, i, j))
		}
	}
	return v
}

// solve returns V⁻¹, Φ, β and the log-likelihood.
func (t *dense) solve(theta []float64) (inverse, phi *mat.SymDense, beta *mat.VecDense, value float64) {
	var chol, second mat.Cholesky
	n, p := t.x.Dims()
	if !chol.Factorize(t.covariance(theta)) {
		return nil, nil, nil, math.Inf(-1)
	}
	inverse, phi = mat.NewSymDense(n, nil), mat.NewSymDense(p, nil)
	if chol.InverseTo(inverse) != nil {
		return nil, nil, nil, math.Inf(-1)
	}
	var vx mat.Dense
	vx.Mul(inverse, t.x)
	var a mat.Dense
	a.Mul(t.x.T(), &vx)
	if !second.Factorize(symmetricOf(&a)) || second.InverseTo(phi) != nil {
		return nil, nil, nil, math.Inf(-1)
	}
	var b, r, vr mat.VecDense
	b.MulVec(vx.T(), t.y)
	beta = mat.NewVecDense(p, nil)
	beta.MulVec(phi, &b)
	r.MulVec(t.x, beta)
	r.SubVec(t.y, &r)
	vr.MulVec(inverse, &r)
	value = -chol.LogDet() - mat.Dot(&r, &vr) - float64(n)*math.Log(2*math.Pi)
	if !t.o.Likelihood {
		value += float64(p)*math.Log(2*math.Pi) - second.LogDet()
	}
	return inverse, phi, beta, value / 2
}

func symmetricOf(m mat.Matrix) *mat.SymDense {
	n, _ := m.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			s.SetSym(i, j, (m.At(i, j)+m.At(j, i))/2)
		}
	}
	return s
}

// moved returns parameters with some moved by a share of their size.
func moved(theta []float64, by map[int]float64) []float64 {
	out := append([]float64(nil), theta...)
	for k, s := range by {
		out[k] += s
	}
	return out
}

func (t *dense) value(theta []float64) float64 {
	_, _, _, v := t.solve(theta)
	return v
}

// slopes returns the derivatives of the covariance by each parameter, by differences, which are exact where it is linear.
func (t *dense) slopes(theta, h []float64) (first []*mat.SymDense) {
	for k := range theta {
		d := t.covariance(moved(theta, map[int]float64{k: h[k]}))
		low := t.covariance(moved(theta, map[int]float64{k: -h[k]}))
		for i := range low.SymmetricDim() {
			for j := range i + 1 {
				d.SetSym(i, j, (d.At(i, j)-low.At(i, j))/(2*h[k]))
			}
		}
		first = append(first, d)
	}
	return first
}

// bend returns the second derivative by parameters k and l.
func (t *dense) bend(theta, h []float64, k, l int) *mat.SymDense {
	n := len(t.d.Outcome)
	out := mat.NewSymDense(n, nil)
	at := func(a, b float64) *mat.SymDense {
		m := moved(theta, map[int]float64{k: a * h[k]})
		return t.covariance(moved(m, map[int]float64{l: b * h[l]}))
	}
	pp, pm, mp, mm := at(1, 1), at(1, -1), at(-1, 1), at(-1, -1)
	for i := range n {
		for j := range i + 1 {
			out.SetSym(i, j, (pp.At(i, j)-pm.At(i, j)-mp.At(i, j)+mm.At(i, j))/(4*h[k]*h[l]))
		}
	}
	return out
}

func multiply(m ...mat.Matrix) *mat.Dense {
	out := mat.DenseCopyOf(m[0])
	for _, x := range m[1:] {
		var next mat.Dense
		next.Mul(out, x)
		out = &next
	}
	return out
}

// kenwardRoger returns the adjusted variance and the expected information as printed in Kenward & Roger, Biometrics 53 (1997) 983–997.
func (t *dense) kenwardRoger(theta, h []float64) (adjusted *mat.Dense, w *mat.Dense, p []*mat.Dense) {
	inverse, phi, _, _ := t.solve(theta)
	first := t.slopes(theta, h)
	q := len(theta)
	var projection mat.Dense
	projection.Sub(inverse, multiply(inverse, t.x, phi, t.x.T(), inverse))
	information := mat.NewDense(q, q, nil)
	var projected []*mat.Dense // the projection times each derivative
	for i := range q {
		projected = append(projected, multiply(&projection, first[i]))
		p = append(p, multiply(t.x.T(), inverse, first[i], inverse, t.x))
	}
	for i := range q {
		for j := range q {
			var product mat.Dense
			product.MulElem(projected[i], projected[j].T())
			information.Set(i, j, mat.Sum(&product)/2)
		}
	}
	w = mat.NewDense(q, q, nil)
	if err := w.Inverse(information); err != nil {
		panic(err)
	}
	_, n := t.x.Dims()
	sum := mat.NewDense(n, n, nil)
	for i := range q {
		for j := range q {
			var term, r mat.Dense
			term.Sub(multiply(multiply(t.x.T(), inverse, first[i]), inverse, multiply(first[j], inverse, t.x)), multiply(p[i], phi, p[j]))
			if t.o.Covariance == mixed.Autoregressive || t.o.Covariance == mixed.SpatialPower { // the others are linear
				r.Scale(0.25, multiply(t.x.T(), inverse, t.bend(theta, h, i, j), inverse, t.x))
				term.Sub(&term, &r)
			}
			term.Scale(w.At(i, j), &term)
			sum.Add(sum, &term)
		}
	}
	adjusted = multiply(phi, sum, phi)
	adjusted.Scale(2, adjusted)
	adjusted.Add(adjusted, phi)
	return adjusted, w, p
}

// unbalanced draws patients, some with two shoulders, with visits missing at random, times about the visits and two columns.
func unbalanced(r *rand.Rand, patients int) (d mixed.Data, columns []covariates.Column) {
	d.Visits = []string{"3 months", "1 year", "2 years", "5 years"}
	columns = []covariates.Column{{Name: "age"}, {Name: "sex"}, {Name: "late", Term: "visit"}, {Name: "later", Term: "visit"}}
	subject := int32(0)
	for patient := range patients {
		own := 5 * r.NormFloat64()
		for range 1 + patient%3/2 {
			level, slope, age, sex := own+6*r.NormFloat64(), 1.5*r.NormFloat64(), 70+8*r.NormFloat64(), float64(patient%2)
			drift := 0.0
			for v := range int32(4) {
				drift = 0.7*drift + 3*r.NormFloat64()
				if r.Float64() < 0.25 {
					continue
				}
				time := []float64{0.25, 1, 2, 5}[v] + 0.2*r.Float64()
				d.Outcome = append(d.Outcome, 50+4*float64(v)+0.2*age+3*sex+level+slope*time+drift+3*r.NormFloat64())
				d.Subject, d.Visit, d.Patient = append(d.Subject, subject), append(d.Visit, v), append(d.Patient, int32(patient))
				d.Time = append(d.Time, time)
				for j, x := range []float64{age, sex, map[bool]float64{true: 1}[v == 2], map[bool]float64{true: 1}[v == 3]} {
					columns[j].Values = append(columns[j].Values, x)
				}
			}
			subject++
		}
	}
	return d, columns
}

// Everything against the twin, for every structure that goes with these data: the value, that it is largest, Φ, the adjusted variance, and
// degrees of freedom of one contrast and several.
func TestAgainstDenseTwin(t *testing.T) {
	d, columns := unbalanced(random.Stream(5, "unbalanced", 0), 30)
	for _, o := range []mixed.Options{
		{}, {PatientIntercept: true}, {Covariance: mixed.CompoundSymmetric, PatientIntercept: true},
		{Covariance: mixed.Autoregressive}, {Covariance: mixed.Autoregressive, SubjectIntercept: true, PatientIntercept: true},
		{Covariance: mixed.SpatialPower}, {Covariance: mixed.SpatialPower, PatientIntercept: true},
		{Covariance: mixed.Independent, SubjectIntercept: true, SubjectSlope: true},
		{Covariance: mixed.Independent, SubjectIntercept: true, PatientIntercept: true},
	} {
		for _, full := range []bool{false, true} {
			if full && (o.PatientIntercept || o.SubjectSlope) && o.Covariance != mixed.Unstructured {
				continue // nothing that is not in another
			}
			o.Likelihood = full
			o.Degrees = mixed.KenwardRoger
			if full {
				o.Degrees = mixed.Satterthwaite
			}
			compare(t, d, columns, o)
		}
	}
}

func compare(t *testing.T, d mixed.Data, columns []covariates.Column, o mixed.Options) {
	t.Helper()
	what := fmt.Sprint(o.Name(), ", ML ", o.Likelihood)
	f := must(t, d, columns, o)
	twin := newDense(d, columns, o)
	var theta, h []float64
	for _, p := range f.Parameters {
		if p.Boundary {
			t.Fatalf("%s: %s is on the boundary; draw other data", what, p.Name)
		}
		theta, h = append(theta, p.Estimate), append(h, 1e-4*math.Max(math.Abs(p.Estimate), 0.1))
	}
	_, phi, beta, value := twin.solve(theta)
	near(t, what+" value", f.LogLikelihood, value, 1e-11, 0)
	for k := range theta {
		step := h[k] / 100
		up, down := twin.value(moved(theta, map[int]float64{k: step})), twin.value(moved(theta, map[int]float64{k: -step}))
		if slope := (up - down) / (2 * step) * math.Max(1, math.Abs(theta[k])); math.Abs(slope) > 1e-5 {
			t.Errorf("%s: the slope by %s is %g of its size", what, f.Parameters[k].Name, slope)
		}
	}
	p := len(f.Names)
	for j := range p {
		near(t, what+" coefficient", f.Coefficient[j], beta.AtVec(j), 1e-9, 1e-3)
		for k := range p {
			near(t, what+" variance", f.Model[j*p+k], phi.At(j, k), 1e-8, 1e-3)
		}
	}
	observed := twin.observed(theta, h)
	if o.Degrees == mixed.Satterthwaite {
		for k, x := range f.Parameters {
			near(t, what+" error of "+x.Name, x.SE, math.Sqrt(observed.At(k, k)), 1e-4, 0)
		}
		twin.checkDegrees(t, what, f, theta, h, observed)
		return
	}
	adjusted, w, _ := twin.kenwardRoger(theta, h)
	for j := range p {
		for k := range p {
			near(t, what+" adjusted variance", f.Variance[j*p+k], adjusted.At(j, k), 1e-5, 1e-3)
		}
	}
	twin.checkDegrees(t, what, f, theta, h, w)
	o.Degrees = mixed.Satterthwaite
	twin.checkDegrees(t, what, must(t, d, columns, o), theta, h, observed)
}

// observed returns the inverse of minus the second differences of the log-likelihood.
func (t *dense) observed(theta, h []float64) *mat.Dense {
	q := len(theta)
	m := mat.NewDense(q, q, nil)
	for i := range q {
		for j := range i + 1 {
			at := func(a, b float64) float64 {
				return t.value(moved(moved(theta, map[int]float64{i: 4 * a * h[i]}), map[int]float64{j: 4 * b * h[j]}))
			}
			m.Set(i, j, -(at(1, 1)-at(1, -1)-at(-1, 1)+at(-1, -1))/(64*h[i]*h[j]))
			m.Set(j, i, m.At(i, j))
		}
	}
	var out mat.Dense
	if err := out.Inverse(m); err != nil {
		panic(err)
	}
	return &out
}

// checkDegrees holds the degrees of freedom of each coefficient against 2 v² / gᵀWg with g by differences of Φ.
func (t *dense) checkDegrees(tb testing.TB, what string, f *mixed.Fit, theta, h []float64, w *mat.Dense) {
	tb.Helper()
	q := len(theta)
	_, phi, _, _ := t.solve(theta)
	var up, down []*mat.SymDense
	for k := range q {
		_, high, _, _ := t.solve(moved(theta, map[int]float64{k: h[k]}))
		_, low, _, _ := t.solve(moved(theta, map[int]float64{k: -h[k]}))
		up, down = append(up, high), append(down, low)
	}
	for j := range f.Names {
		g := mat.NewVecDense(q, nil)
		for k := range q {
			g.SetVec(k, (up[k].At(j, j)-down[k].At(j, j))/(2*h[k]))
		}
		near(tb, fmt.Sprint(what, " degrees of ", f.Names[j], " by ", f.Options.Degrees), f.Effect(j, 0.95).DF, 2*phi.At(j, j)*phi.At(j, j)/mat.Inner(g, w, g), 2e-3, 0)
	}
}

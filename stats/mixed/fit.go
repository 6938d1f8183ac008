package mixed

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Fit is a fitted model. Coefficients and covariances are in the units of the columns and of the score; matrices have one row after the
// other. In any status but Converged there are no estimates, and every effect and test of the fit repeats status and reason.
type Fit struct {
	Status Status
	// Reason says in a sentence why there are no estimates and what can be done.
	Reason string
	// AtFault names the columns or visits that are the reason.
	AtFault []string
	Options Options

	Names, Terms []string // of each coefficient; the constant is the last
	Visits       []string
	// Rows are scores, Patterns the different sets of visits that they come in.
	Rows, Subjects, Patients, Patterns int
	Steps                              int

	Coefficient []float64
	// Variance is that of the coefficients: (XᵀV⁻¹X)⁻¹, or with Kenward and Roger's degrees of freedom their adjusted one.
	Variance []float64
	// Model is (XᵀV⁻¹X)⁻¹ in any case.
	Model []float64
	// Parameters are those of the covariance.
	Parameters []Parameter
	// Covariance is that of one shoulder's scores over all visits, between-patient part included, K rows of K numbers; where it depends on the
	// time of a score, it is for the mean time of each visit.
	Covariance []float64
	// LogLikelihood is the restricted one, or the full one if asked for; the restricted one depends on how columns are coded and scaled.
	LogLikelihood float64

	inference *inference
	frame     *frame
	state     *state
	structure *structure
}

// Parameter is one parameter of the covariance.
type Parameter struct {
	Name string
	// Estimate has the unit of the score squared, but for a correlation.
	Estimate float64
	// SE is that of large samples, from the observed information; 0 where Boundary.
	SE float64
	// Boundary says that the estimate is a variance of 0, or goes with one, and is taken as known by everything else.
	Boundary bool
}

func (f *Fit) refuse(s Status, reason string, atFault ...string) {
	f.Status, f.Reason, f.AtFault = s, reason, atFault
	f.Coefficient, f.Model, f.Variance, f.Covariance, f.Parameters, f.LogLikelihood = nil, nil, nil, nil, nil, 0
}

// Estimate fits score = constant + Σ β_j x_j + rest, the rest having the covariance that the options ask for. The error names the
// first row that cannot be used, or options that do not go together; whatever keeps estimates from existing is a Status of the fit.
//
// One pass over the rows takes time linear in them and quadratic in columns times visits; each step after it takes as long as there are
// patterns of visits, whatever the number of rows. Memory beyond the data is some 24 bytes a row and at most 16 a value.
func Estimate(d Data, columns []covariates.Column, o Options) (*Fit, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if err := d.check(); err != nil {
		return nil, err
	}
	design, err := covariates.NewDesign(columns, len(d.Outcome), true)
	if err != nil {
		return nil, err
	}
	patients, err := d.patients()
	if err != nil {
		return nil, err
	}
	f := newFit(d, design, o)
	block := d.Subject
	if o.PatientIntercept {
		block = patients
	}
	patterns, err := d.patterns(block, d.Time != nil && (o.Covariance == SpatialPower || o.SubjectSlope))
	if err != nil {
		return nil, err
	}
	f.count(patients, patterns)
	if !f.possible(patterns) {
		return f, nil
	}
	if f.frame = newFrame(d, design, f); f.frame == nil {
		return f, nil
	}
	f.frame.patterns = patterns
	if !f.everyVisitVaries() {
		return f, nil
	}
	f.maximise()
	return f, nil
}

func newFit(d Data, design *covariates.Design, o Options) *Fit {
	f := &Fit{Options: o, Rows: len(d.Outcome), Visits: d.Visits, structure: newStructure(o, d.Visits)}
	names := covariates.NewFit(design, 0, 0)
	f.Names, f.Terms = names.Names, names.Terms
	return f
}

// count counts shoulders and patients; a block has either one shoulder or one patient's.
func (f *Fit) count(patients []int32, patterns []*pattern) {
	f.Patterns = len(patterns)
	for _, p := range patterns {
		f.Subjects += len(p.blocks) * int(p.subject[p.size()-1]+1)
	}
	groups, err := covariates.GroupRows(patients, len(patients))
	if err == nil {
		f.Patients = groups.Count
	}
}

// maximise finds the covariance and what follows from it.
func (f *Fit) maximise() {
	f.frame.gather()
	l := &likelihood{frame: f.frame, structure: f.structure, full: f.Options.Likelihood, rows: f.Rows}
	steps := f.Options.Steps
	if steps == 0 {
		steps = usualSteps
	}
	c := newCoordinates(f.structure)
	a := l.climb(c, c.start(f.structure, f.frame), steps)
	f.Steps = a.steps
	if a.status == LimitReached {
		if w := l.weakest(a.state.theta); w != nil {
			a.status, a.weak = OnBoundary, w
		}
	}
	if a.status != Converged {
		f.explain(a)
		return
	}
	f.take(l, c, a)
}

// explain says why the climb ended early.
func (f *Fit) explain(a *ascent) {
	switch a.status {
	case OnBoundary:
		if a.weak == nil {
			f.refuse(OnBoundary, "the covariance has no inverse where the search begins")
			return
		}
		visit := f.Visits[a.weak.pattern.visit[a.weak.place]]
		f.refuse(OnBoundary, "the scores at "+visit+" come out as exact functions of those at other visits: too few shoulders have scores at the same visits, "+
			"or scores do not vary there; take a covariance with fewer parameters, or leave the visit out", visit)
	case NotIdentified:
		f.refuse(NotIdentified, "the scores do not tell the parameters of the covariance ("+f.Options.Name()+") apart; take one with fewer")
	default:
		f.refuse(LimitReached, fmt.Sprintf("the largest likelihood was not found in %d steps; take a covariance with fewer parameters", a.steps))
	}
}

// take turns what was found into the units of the data.
func (f *Fit) take(l *likelihood, c *coordinates, a *ascent) {
	f.state = a.state
	x := f.frame
	beta := append([]float64(nil), x.ordinary...)
	for j, b := range a.state.beta {
		beta[j] += float64(b * x.scale)
	}
	square := x.scale * x.scale
	var phi []float64
	f.Coefficient, phi = x.design.Unscale(beta, a.state.phi)
	f.Model = times(phi, square)
	f.LogLikelihood = a.state.value - float64(float64(f.Rows)*math.Log(x.scale))
	if !f.Options.Likelihood {
		f.LogLikelihood += float64(float64(len(beta)) * math.Log(x.scale))
		for j := range x.design.Columns {
			f.LogLikelihood += math.Log(x.design.Scale(j))
		}
	}
	if !f.infer(l, c, a) {
		return
	}
	f.Covariance = f.visitCovariance(a.state.theta, square)
}

func times(m []float64, by float64) []float64 {
	for i := range m {
		m[i] *= by
	}
	return m
}

// visitCovariance returns the covariance of a shoulder with all visits.
func (f *Fit) visitCovariance(theta []float64, square float64) []float64 {
	k := len(f.Visits)
	p := &pattern{subject: make([]int32, k), visit: make([]int32, k), time: f.meanTimes()}
	for v := range p.visit {
		p.visit[v] = int32(v)
	}
	out := make([]float64, k*k)
	f.structure.covariance(p, theta, out)
	return times(out, square)
}

func (f *Fit) meanTimes() []float64 {
	d := f.frame.data
	sums, rows := make([]float64, len(d.Visits)), make([]float64, len(d.Visits))
	for i, v := range d.Visit {
		sums[v] += d.time(int32(i))
		rows[v]++
	}
	for v := range sums {
		if rows[v] > 0 {
			sums[v] /= rows[v]
		}
	}
	return sums
}

// Correlation returns the correlations that belong to Covariance.
func (f *Fit) Correlation() []float64 {
	k := len(f.Visits)
	out := make([]float64, len(f.Covariance))
	for i := range f.Covariance {
		out[i] = f.Covariance[i] / math.Sqrt(f.Covariance[i/k*(k+1)]*f.Covariance[i%k*(k+1)])
	}
	return out
}

func counted(n int, noun string) string {
	if n == 1 {
		return fmt.Sprint(n, " ", noun)
	}
	return fmt.Sprint(n, " ", noun, "s")
}

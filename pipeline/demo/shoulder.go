package demo

import "math"

// shoulder draws the operation on one side in a stratum, after days from the first side, and its course.
func (b *batch) shoulder(p *person, stratum int, after int32, side int16) {
	s := &strata[stratum]
	op := b.operation(p, s, after, side)
	b.operations = append(b.operations, op)
	b.shoulders++
	// What is left of the patient's life and of follow-up, in days from this operation.
	life, end := p.life-float64(after), dataCut-op.day
	revised := b.revisions(&op, p, s, life, end)
	b.scoresOf(&op, revised, life, end)
	b.complicationsOf(&op, revised, life, end)
	b.course(&op, revised, life, end)
}

func (b *batch) operation(p *person, s *stratum, after int32, side int16) operation {
	r := b.r
	op := operation{patient: p.number, day: p.day + after, side: side, procedure: s.procedure, occasion: primaryOccasion,
		indication: s.indication, findings: drawFindings(r, s.indication), sex: p.sex, asa: p.asa, bmi: p.bmi,
		hospital: p.hospital, surgeon: p.surgeon, age: math.Floor(p.exact + float64(after)/daysPerYear)}
	op.humeral = b.implant(s.procedure)
	op.glenoid, op.fixation = op.humeral, pick(r, fixationShares[s.procedure])
	switch s.procedure {
	case hemi:
		op.glenoid = missing
	case plate:
		op.glenoid, op.fixation = missing, missing
	}
	return op
}

// fixationShares are the shares of cemented, uncemented and hybrid, by procedure.
var fixationShares = [...][]float64{
	reverse: {0.05, 0.70, 0.25}, anatomic: {0.45, 0.15, 0.40}, hemi: {0.55, 0.45}, plate: {1},
}

func (b *batch) implant(procedure int16) int16 {
	u := b.r.Float64()
	list := implants[procedure]
	for _, im := range list {
		if u -= im.share; u < 0 {
			return im.system
		}
	}
	return list[len(list)-1].system
}

// revisionRatio is the product of the ratios of revision of a shoulder.
func revisionRatio(op *operation, s *stratum) float64 {
	ratio := s.revision * ageSexRevision(int(op.age), op.sex) * hospitalRevision[op.hospital]
	for _, im := range implants[op.procedure] {
		if im.system == op.humeral {
			ratio *= im.revision
		}
	}
	return ratio
}

// revisions draws the revisions of a shoulder and returns the moment of the first in days from the operation, whether
// or not death or the data cut comes before it.
func (b *batch) revisions(op *operation, p *person, s *stratum, life float64, end int32) (first float64) {
	years := whenRevised(b.r.ExpFloat64() / revisionRatio(op, s))
	first = years * daysPerYear
	day := int32(0)
	for n := 0; n < mostRevisions && happens(years*daysPerYear, life, end); n++ {
		if next := int32(math.Ceil(years * daysPerYear)); next > day {
			day = next
			b.revision(op, p, day, years)
		}
		years += b.r.ExpFloat64() / revisionAgain
	}
	return first
}

// happens says whether a revision at a moment comes before death and by the end of the last day of follow-up.
func happens(moment, life float64, end int32) bool {
	return moment < life && moment <= float64(end)
}

// revision writes down a revision, and in the table of procedures as well when parts fixed to bone were exchanged.
func (b *batch) revision(op *operation, p *person, day int32, years float64) {
	rev := reoperation{patient: op.patient, day: op.day + day, side: op.side, reason: b.reason(op.procedure, years),
		exchanged: pick(b.r, exchangedShares[op.procedure])}
	b.reoperations = append(b.reoperations, rev)
	if rev.exchanged > exchangedGlenoid {
		return
	}
	again := *op
	again.day, again.occasion = rev.day, revisionOccasion
	again.age = math.Floor(p.exact + float64(rev.day-p.day)/daysPerYear)
	again.procedure = reverse
	again.humeral = b.implant(reverse)
	again.glenoid = again.humeral
	again.fixation = pick(b.r, fixationShares[reverse])
	b.operations = append(b.operations, again)
}

// exchangedShares are the shares of all, humeral, glenoid, modular parts, removed and none, by procedure.
var exchangedShares = [...][]float64{
	reverse:  {0.22, 0.16, 0.16, 0.34, 0.06, 0.06},
	anatomic: {0.60, 0.05, 0.20, 0.07, 0.05, 0.03},
	hemi:     {0.70, 0.05, 0.15, 0.02, 0.05, 0.03},
	plate:    {0.85, 0, 0, 0, 0.10, 0.05},
}

// Shares of the reasons for revision in the order of their codes: of a replacement in the first year, from one to five
// years and later; of a hemiarthroplasty; of a plate.
var (
	reasonShares = [3][]float64{
		{0.28, 0.37, 0.04, 0.03, 0.05, 0.08, 0.03, 0.01, 0.00, 0.06, 0.05},
		{0.20, 0.18, 0.16, 0.09, 0.05, 0.09, 0.05, 0.04, 0.02, 0.07, 0.05},
		{0.12, 0.08, 0.24, 0.16, 0.04, 0.09, 0.02, 0.07, 0.10, 0.04, 0.04},
	}
	hemiReasons  = []float64{0.10, 0.10, 0, 0.08, 0, 0.08, 0, 0.01, 0.35, 0.22, 0.06}
	plateReasons = []float64{0.10, 0.02, 0, 0, 0, 0.05, 0, 0.30, 0, 0.30, 0.23}
)

func (b *batch) reason(procedure int16, years float64) int16 {
	shares := reasonShares[0]
	switch {
	case procedure == hemi:
		shares = hemiReasons
	case procedure == plate:
		shares = plateReasons
	case years > 5:
		shares = reasonShares[2]
	case years > 1:
		shares = reasonShares[1]
	}
	return pick(b.r, shares)
}

// course keeps what is true of the shoulder when there is a truth to compare it with.
func (b *batch) course(op *operation, revised, life float64, end int32) {
	if op.procedure != reverse || int(op.indication) >= len(indications) {
		return
	}
	c := course{patient: op.patient, exit: end, indication: uint8(op.indication)}
	switch {
	case happens(revised, life, end):
		c.exit, c.cause = int32(math.Ceil(revised)), causeRevised
	case life <= float64(end):
		c.exit, c.cause = int32(math.Ceil(life)), causeDied
	}
	b.courses = append(b.courses, c)
}

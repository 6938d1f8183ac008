package demo

import (
	"math"
	"math/rand/v2"

	"deltoid/stats/random"
)

// batchSize is the number of shoulders drawn from one stream of random numbers. It is part of what a seed means: another
// size gives other records.
const batchSize = 4096

// batch is the records of consecutive patients, drawn from a stream of their own so that batches can be drawn at once.
type batch struct {
	first     int // number of the first shoulder
	want      int // shoulders
	r         *rand.Rand
	law       *law
	pending   []planting
	shoulders int
	patients  int32

	operations    []operation
	reoperations  []reoperation
	complications []complication
	deaths        []death
	scores        []score
	contacts      []contact
	courses       []course
	defects       []planted
	twoSided      int
}

// law is the distributions that every batch draws from, summed up once.
type law struct {
	strata    []float64
	ages      [][]float64
	hospitals []float64
}

func newLaw() *law {
	l := &law{hospitals: hospitalShares()}
	for i := range strata {
		l.strata = append(l.strata, strata[i].share)
		l.ages = append(l.ages, strata[i].ages())
	}
	return l
}

func newBatch(o Options, l *law, first int, pending []planting) *batch {
	return &batch{first: first, want: min(batchSize, o.Shoulders-first), law: l, pending: pending,
		r: random.Stream(o.Seed, "invented registry", uint64(first/batchSize))}
}

// fill draws patients until the batch has its shoulders. When its last patient has two and there is room for one, the
// second is left out: one in some forty thousand.
func (b *batch) fill() {
	for b.shoulders < b.want {
		p := b.draw()
		if first, second := p.inRegistry(); first || second {
			b.record(p, first, second)
			b.patients++
			b.plant(p)
		}
	}
}

// person is a patient as drawn, from the day of the first side on.
type person struct {
	number   int32
	stratum  int // of the first side
	second   int // stratum of the second side
	age      int // whole years on that day
	exact    float64
	sex, asa int16
	hospital int16
	surgeon  int16
	side     int16 // of the first operation
	day      int32
	gap      int32   // days to the second side; 0 when none is to follow
	life     float64 // days to death
	bmi      float64
}

func (b *batch) draw() *person {
	r := b.r
	p := &person{number: int32(b.first) + b.patients, stratum: int(pick(r, b.law.strata))}
	p.second = p.stratum
	s := &strata[p.stratum]
	p.age = youngest + int(pick(r, b.law.ages[p.stratum]))
	p.exact = float64(p.age) + r.Float64()
	p.sex = male
	if r.Float64() < s.female {
		p.sex = female
	}
	p.asa = pick(r, asaShares[asaBand(p.age)])
	p.hospital = pick(r, b.law.hospitals)
	p.surgeon = p.hospital*surgeonsPerPlace + int16(r.IntN(surgeonsPerPlace))
	p.side = int16(r.IntN(2))
	p.day = drawDay(r)
	if r.Float64() < s.second {
		p.gap = minGap + r.Int32N(maxGap-minGap+1)
		p.second = drawCrossing(r, p.stratum)
	}
	ratio := s.death * sexAsaDeath(p.sex, p.asa)
	p.life = daysPerYear * whenDead(p.exact, r.ExpFloat64()/ratio)
	p.bmi = math.NaN()
	if bmi := bmiMean + float64(bmiSpread*r.NormFloat64()); r.Float64() >= notRecorded {
		p.bmi = roundTo(min(max(bmi, 16), 55)*10, 1) / 10
	}
	return p
}

// drawCrossing draws the stratum of the second side.
func drawCrossing(r *rand.Rand, stratum int) int {
	for _, c := range crossings {
		if c.from == stratum && r.Float64() < c.share {
			return c.to
		}
	}
	return stratum
}

// Body mass index, kg/m2: mean and standard deviation of the normal curve, cut off at 16 and 55.
const (
	bmiMean   = 27.5
	bmiSpread = 4.8
)

// drawDay draws a day from maxGap days before the registry opens to the data cut; each day is likelier than the day
// before by the factor e^(growth/365.25).
func drawDay(r *rand.Rand) int32 {
	from := opens - maxGap
	days := float64(dataCut - from + 1)
	rate := growth / daysPerYear
	d := math.Log1p(r.Float64()*math.Expm1(rate*days)) / rate
	return from + min(int32(d), dataCut-from)
}

// inRegistry says which sides were operated on while the registry was open.
func (p *person) inRegistry() (first, second bool) {
	after := p.day + p.gap
	return p.day >= opens, p.gap > 0 && p.life > float64(p.gap) && after >= opens && after <= dataCut
}

// death returns the day of death, or false when the patient lives on at the data cut.
func (p *person) death() (int32, bool) {
	if p.life > float64(dataCut-p.day) {
		return 0, false
	}
	return p.day + int32(math.Ceil(p.life)), true
}

// record writes down the patient and the sides in the registry.
func (b *batch) record(p *person, first, second bool) {
	from := p.day
	if !first {
		from += p.gap
	}
	if first {
		b.shoulder(p, p.stratum, 0, p.side)
	}
	if second && b.shoulders < b.want {
		b.shoulder(p, p.second, p.gap, 1-p.side)
		if first {
			b.twoSided++
		}
	}
	last := dataCut
	if day, dead := p.death(); dead {
		b.deaths = append(b.deaths, death{p.number, day})
		last = day - 1
	}
	b.contact(p, from, last)
}

// contact draws the last day on which the patient was heard of, within a good year before the end.
func (b *batch) contact(p *person, from, last int32) {
	day := max(from, last-b.r.Int32N(400))
	b.contacts = append(b.contacts, contact{p.number, day, pick(b.r, contactShares)})
}

var contactShares = []float64{0.35, 0.25, 0.10, 0.30}

package demo

import (
	"math"
	"slices"
	"strings"

	"deltoid/schemas"
)

// readmePage is what the template of the README shows. Numbers that are parameters are texts, as they stand in the
// source.
type readmePage struct {
	Hospitals, Shoulders, Patients, TwoSided int
	Seed                                     uint64
	Opens, DataCut, Growth                   string
	Tables                                   []readmeTable
	Truth                                    []readmeTruth
	Indications                              []string
	Strata                                   []readmeStratum
	Youngest, Oldest, MinGap, MaxGap         int
	Hazard                                   []readmeHazard
	RevisionMale, RevisionPerYear            string
	RevisionAgain                            string
	Implants                                 []readmeImplant
	Crossings                                []readmeCrossing
	HospitalRatios                           []string // lines of a table
	DeathAt75, DeathSlope, DeathMale         string
	AsaDeath, AsaShares                      []string
	Reasons                                  []readmeReason
	Visits                                   []readmeVisit
	ScoreShoulder, ScoreVisit, OxfordVisit   string
	ScoreRecovery, MissingWorse              string
	Threshold, ThresholdSpread, Reliability  string
	StateReliability, LevelKept              string
	Acceptable, AcceptableSpan, Answers      string
	Disagreement                             string
	Defects                                  []readmeDefect
}

type readmeTable struct {
	Name string
	Rows int
}

type readmeTruth struct {
	Indication         string
	Years              int
	Incidence, Revised string
}

type readmeStratum struct {
	Indication, Procedure, Share, Age, Spread, Women, Second, Revision, Death string
}

type readmeCrossing struct{ Share, From, FromProcedure, To, ToProcedure string }

type readmeHazard struct{ Rate, From string }

type readmeImplant struct{ Code, Procedure, Share, Revision string }

type readmeReason struct {
	Reason string
	Shares []string
}

type readmeVisit struct {
	When, Present string
	Means         []string
}

type readmeDefect struct {
	Text, Table, Lines string
	N                  int
}

func (r *Records) readmePage() (*readmePage, error) {
	truth, err := truthTable()
	if err != nil {
		return nil, err
	}
	p := &readmePage{Hospitals: hospitals, Shoulders: r.Options.Shoulders, Patients: r.Patients, TwoSided: r.TwoSided,
		Seed: r.Options.Seed, Opens: schemas.FormatDay(opens), DataCut: schemas.FormatDay(dataCut), Growth: short(growth),
		Truth: truth, Indications: Indications(), Strata: strataTable(), Defects: r.defectTable(),
		Youngest: youngest, Oldest: oldest, MinGap: minGap, MaxGap: maxGap,
		RevisionMale: short(revisionMale), RevisionPerYear: short(revisionPerYear), RevisionAgain: short(revisionAgain),
		DeathAt75: short(deathAt75), DeathSlope: short(deathSlope), DeathMale: short(deathMale),
		ScoreShoulder: short(scoreShoulder), ScoreVisit: short(scoreVisit), OxfordVisit: short(oxfordVisit),
		ScoreRecovery: short(scoreRecovery), MissingWorse: short(100 * missingWorse), LevelKept: short(levelKept),
		Threshold: short(thresholdMean), ThresholdSpread: short(thresholdSpread),
		Acceptable: short(acceptableMean), AcceptableSpan: short(acceptableSpan),
		Disagreement: whole(disagreement)}
	thresholds := TrueThreshold()
	p.Reliability, p.StateReliability, p.Answers = percent(thresholds.OfChange), percent(thresholds.OfState), answerTable()
	p.Tables = r.tableRows()
	p.addLists()
	return p, nil
}

// addLists fills in the parameters that are lists.
func (p *readmePage) addLists() {
	for i, from := range revisionFrom {
		p.Hazard = append(p.Hazard, readmeHazard{short(revisionHazard[i]), short(from)})
	}
	for _, c := range crossings {
		from, to := &strata[c.from], &strata[c.to]
		p.Crossings = append(p.Crossings, readmeCrossing{whole(c.share), indicationCodes.ours[from.indication],
			procedureCodes.ours[from.procedure], indicationCodes.ours[to.indication], procedureCodes.ours[to.procedure]})
	}
	for procedure, list := range implants {
		for _, im := range list {
			p.Implants = append(p.Implants, readmeImplant{humeralCodes.ours[im.system], procedureCodes.ours[procedure],
				whole(im.share), short(im.revision)})
		}
	}
	for ten := range slices.Chunk(hospitalRevision[:], 10) {
		line := hospitalCodes.ours[10*len(p.HospitalRatios)]
		for _, ratio := range ten {
			line += " | " + short(ratio)
		}
		p.HospitalRatios = append(p.HospitalRatios, line)
	}
	for _, ratio := range asaDeath {
		p.AsaDeath = append(p.AsaDeath, short(ratio))
	}
	for i, when := range []string{"below 70 years", "from 70 to 79", "from 80 on"} {
		p.AsaShares = append(p.AsaShares, strings.Join(wholes(asaShares[i]), ", ")+" "+when)
	}
	for i, name := range reasonCodes.ours {
		p.Reasons = append(p.Reasons, readmeReason{name,
			wholes([]float64{reasonShares[0][i], reasonShares[1][i], reasonShares[2][i]})})
	}
	p.addVisits()
}

func (p *readmePage) addVisits() {
	for _, v := range visits {
		line := readmeVisit{When: short(v.years) + " years after", Present: whole(v.present)}
		switch v.years {
		case 0:
			line.When = "before the operation"
		case 1:
			line.When = "1 year after"
		}
		for _, mean := range v.mean {
			if math.IsNaN(mean) {
				line.Means = append(line.Means, "none is asked for")
				continue
			}
			line.Means = append(line.Means, short(mean))
		}
		p.Visits = append(p.Visits, line)
	}
}

// answerTable says which change gets which answer.
func answerTable() string {
	rating, _ := schemas.InstrumentOf("rating")
	words := rating.Answers[0].Words + " below " + short(answerFrom[0])
	for i, from := range answerFrom {
		words += ", " + rating.Answers[i+1].Words + " from " + short(from)
	}
	return strings.ReplaceAll(words, "-", "−")
}

// truthTable computes the truth at the times of the plan.
func truthTable() ([]readmeTruth, error) {
	years := []int{1, 2, 5, 10}
	var out []readmeTruth
	for _, name := range indications {
		days := make([]int32, len(years))
		for i, y := range years {
			days[i] = int32(float64(y) * daysPerYear)
		}
		true, err := Truth(name, days...)
		if err != nil {
			return nil, err
		}
		for i, t := range true {
			out = append(out, readmeTruth{name, years[i], percent(t.Incidence), percent(t.Revised)})
		}
	}
	return out, nil
}

func strataTable() []readmeStratum {
	var out []readmeStratum
	for i := range strata {
		s := &strata[i]
		out = append(out, readmeStratum{indicationCodes.ours[s.indication], procedureCodes.ours[s.procedure], whole(s.share),
			short(s.age), short(s.spread), whole(s.female), whole(s.second), short(s.revision), short(s.death)})
	}
	return out
}

func (r *Records) tableRows() []readmeTable {
	return []readmeTable{{"procedures", count(r.operations)}, {"revisions", count(r.reoperations)},
		{"complications", count(r.complications)}, {"deaths", count(r.deaths)}, {"scores", count(r.scores)},
		{"contacts", count(r.contacts)}}
}

func (r *Records) defectTable() []readmeDefect {
	var out []readmeDefect
	for _, k := range Kinds() {
		var of []Defect
		for _, d := range r.Defects {
			if d.Kind == k {
				of = append(of, d)
			}
		}
		if len(of) > 0 {
			out = append(out, readmeDefect{k.String(), of[0].Table, someLines(of), len(of)})
		}
	}
	return out
}

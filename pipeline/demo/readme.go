package demo

import (
	"fmt"

	"deltoid/schemas"
)

// readmePage is what the template of the README shows.
type readmePage struct {
	Hospitals, Shoulders, Patients, TwoSided             int
	Seed                                                 uint64
	Opens, DataCut, Growth                               string
	Tables                                               []readmeTable
	Truth                                                []readmeTruth
	Strata                                               []readmeStratum
	Youngest, Oldest, MinGap, MaxGap                     int
	Hazard                                               []readmeHazard
	RevisionMale, RevisionPerYear, RevisionAgain         string
	Implants, HospitalRatios                             []string
	DeathAt75, DeathSlope, DeathMale                     string
	AsaDeath, Visits                                     []string
	ScoreShoulder, ScoreVisit, OxfordVisit, Disagreement string
	Defects                                              []readmeDefect
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

type readmeHazard struct{ Rate, From string }

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
		Truth: truth, Strata: strataTable(), Defects: r.defectTable(),
		Youngest: youngest, Oldest: oldest, MinGap: minGap, MaxGap: maxGap,
		RevisionMale: short(revisionMale), RevisionPerYear: short(revisionPerYear), RevisionAgain: short(revisionAgain),
		DeathAt75: short(deathAt75), DeathSlope: short(deathSlope), DeathMale: short(deathMale),
		ScoreShoulder: short(scoreShoulder), ScoreVisit: short(scoreVisit), OxfordVisit: short(oxfordVisit),
		Disagreement: whole(disagreement)}
	p.Tables = r.tableRows()
	p.addLists()
	return p, nil
}

// addLists fills in the parameters that are lists.
func (p *readmePage) addLists() {
	for i, from := range revisionFrom {
		p.Hazard = append(p.Hazard, readmeHazard{short(revisionHazard[i]), short(from)})
	}
	for procedure, list := range implants {
		for _, im := range list {
			p.Implants = append(p.Implants, fmt.Sprintf("%s (%s, %s %%) %s", humeralCodes.ours[im.system],
				procedureCodes.ours[procedure], whole(im.share), short(im.revision)))
		}
	}
	for i, ratio := range hospitalRevision {
		p.HospitalRatios = append(p.HospitalRatios, hospitalCodes.ours[i]+" "+short(ratio))
	}
	for _, ratio := range asaDeath {
		p.AsaDeath = append(p.AsaDeath, short(ratio))
	}
	for _, v := range visits {
		when := fmt.Sprintf("at %s years", short(v.years))
		if v.years == 0 {
			when = "before the operation"
		}
		p.Visits = append(p.Visits, fmt.Sprintf("%s, %s and %s %s (%s %% come)", short(v.mean[0]), short(v.mean[1]),
			short(v.mean[2]), when, whole(v.present)))
	}
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

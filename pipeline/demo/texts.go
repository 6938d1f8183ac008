package demo

import (
	"bytes"
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/template"

	"deltoid/schemas"
)

//go:embed plan.tmpl
var planText string

//go:embed readme.tmpl
var readmeText string

var (
	planTemplate   = template.Must(template.New("plan").Parse(planText))
	readmeTemplate = template.Must(template.New("readme").Parse(readmeText))
)

// studyName is the study's name in the plans.
const studyName = "invented-registry"

// textFile is a file for people, with its content.
type textFile struct {
	name    string
	content []byte
}

// texts makes the two plans and the README.
func (r *Records) texts() ([]textFile, error) {
	readme, err := r.readmePage()
	if err != nil {
		return nil, err
	}
	var files []textFile
	for _, t := range []struct {
		name string
		by   *template.Template
		with any
	}{
		{planName, planTemplate, r.planPage(".csv")},
		{planParquetName, planTemplate, r.planPage(".parquet")},
		{"README.md", readmeTemplate, readme},
	} {
		var b bytes.Buffer
		if err := t.by.Execute(&b, t.with); err != nil {
			return nil, err
		}
		files = append(files, textFile{t.name, b.Bytes()})
	}
	return files, nil
}

// planPage is what the template of the plan shows.
type planPage struct {
	Study, Ending, DataCut string
	Shoulders              int
	Exports                []planExport
}

type planExport struct {
	Name    string
	Columns []planColumn
	Recodes []planRecode
	Dotted  []string
	Token   string
}

type planColumn struct{ Field, Header string }

type planRecode struct {
	Field string
	Pairs []planPair
}

type planPair struct{ Theirs, Ours string }

func (r *Records) planPage(ending string) planPage {
	p := planPage{Study: studyName, Ending: ending, DataCut: schemas.FormatDay(dataCut), Shoulders: r.Options.Shoulders}
	for _, e := range exports {
		p.Exports = append(p.Exports, e.inPlan())
	}
	return p
}

func (e *export) inPlan() planExport {
	out := planExport{Name: e.name}
	for _, c := range e.columns {
		out.Columns = append(out.Columns, planColumn{c.field, c.header})
		if c.dotted {
			out.Dotted = append(out.Dotted, c.field)
		}
		if c.list == nil {
			continue
		}
		if c.list.token {
			out.Token = missingToken
		}
		if !slices.Equal(c.list.ours, c.list.theirs) {
			out.Recodes = append(out.Recodes, planRecode{c.field, c.list.pairs()})
		}
	}
	return out
}

// pairs writes the codes with quotes, because 1 and NO would not be texts in YAML.
func (l *codeList) pairs() []planPair {
	var out []planPair
	for i := range l.ours {
		out = append(out, planPair{strconv.Quote(l.theirs[i]), strconv.Quote(l.ours[i])})
	}
	return out
}

// percent writes a probability.
func percent(p float64) string { return strconv.FormatFloat(100*p, 'f', 2, 64) }

// short writes a parameter as it stands in the source.
func short(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// whole writes a share as a percentage without decimals.
func whole(p float64) string { return strconv.FormatFloat(100*p, 'f', 0, 64) }

func wholes(p []float64) []string {
	words := make([]string, len(p))
	for i := range p {
		words[i] = whole(p[i])
	}
	return words
}

// someLines writes the lines of the first few defects, and how many more there are.
func someLines(defects []Defect) string {
	const most = 8
	var words []string
	for _, d := range defects[:min(most, len(defects))] {
		words = append(words, strconv.Itoa(d.LineCSV()))
	}
	if more := len(defects) - most; more > 0 {
		words = append(words, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(words, ", ")
}

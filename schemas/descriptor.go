package schemas

import (
	"encoding/json"
	"strconv"
	"time"
)

// descriptor is a schema as its JSON file holds it: a Table Schema descriptor of the Data Package standard, version 2,
// with two properties of our own on a field: "unit" and "identifier". Properties that stand here and are not read carry
// no rule for us.
type descriptor struct {
	Profile       string           `json:"$schema"`
	Name          string           `json:"name"`
	Title         string           `json:"title"`
	Description   string           `json:"description"`
	FieldsMatch   string           `json:"fieldsMatch"`
	Fields        []fieldEntry     `json:"fields"`
	PrimaryKey    []string         `json:"primaryKey"`
	UniqueKeys    [][]string       `json:"uniqueKeys"`
	ForeignKeys   []foreignKeyPart `json:"foreignKeys"`
	MissingValues []string         `json:"missingValues"`
}

type fieldEntry struct {
	Name              string          `json:"name"`
	Title             string          `json:"title"`
	Description       string          `json:"description"`
	Type              string          `json:"type"`
	Format            string          `json:"format"`
	Unit              string          `json:"unit"`
	Identifier        bool            `json:"identifier"`
	Constraints       constraintPart  `json:"constraints"`
	Categories        []categoryEntry `json:"categories"`
	CategoriesOrdered *bool           `json:"categoriesOrdered"`
	Example           any             `json:"example"`
}

type constraintPart struct {
	Required bool   `json:"required"`
	Unique   bool   `json:"unique"`
	Minimum  *limit `json:"minimum"`
	Maximum  *limit `json:"maximum"`
	Pattern  string `json:"pattern"`
}

type categoryEntry struct {
	Value       string `json:"value"`
	Label       string `json:"label"`
	Description string `json:"description"`
}

type foreignKeyPart struct {
	Fields    []string `json:"fields"`
	Reference struct {
		Resource string   `json:"resource"`
		Fields   []string `json:"fields"`
	} `json:"reference"`
}

// limit is the value of a minimum or a maximum. The standard lets it be a JSON number or a string that reads as the
// field's type, a date among them.
type limit float64

// UnmarshalJSON reads a number, a number in quotes, or a date in quotes as its day.
func (l *limit) UnmarshalJSON(b []byte) error {
	text := string(b)
	if b[0] == '"' {
		if err := json.Unmarshal(b, &text); err != nil {
			return err
		}
		if day, err := time.Parse(time.DateOnly, text); err == nil {
			*l = limit(day.Unix() / 86400)
			return nil
		}
	}
	x, err := strconv.ParseFloat(text, 64)
	*l = limit(x)
	return err
}

func (l *limit) number() *float64 { return (*float64)(l) }

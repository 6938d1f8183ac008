package render

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"image/png"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// notebookSchema is the published schema of the format; testdata/references/nbformat/README.md says where it is from.
func notebookSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	f, err := os.Open("../../testdata/references/nbformat/nbformat.v4.5.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	doc, err := jsonschema.UnmarshalJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("notebook.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("notebook.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestNotebookIsValid(t *testing.T) {
	schema := notebookSchema(t)
	for name, doc := range documents() {
		files, err := notebook(mustOpen(t, doc))
		if err != nil {
			t.Fatal(err)
		}
		value, err := jsonschema.UnmarshalJSON(bytes.NewReader(files[0].Data))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(value); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

type anyNotebook struct {
	Cells []struct {
		ID          string                       `json:"id"`
		Attachments map[string]map[string]string `json:"attachments"`
		Source      []string                     `json:"source"`
	} `json:"cells"`
}

func notebookOf(t *testing.T, name string) anyNotebook {
	t.Helper()
	files, err := notebook(mustOpen(t, documents()[name]))
	if err != nil {
		t.Fatal(err)
	}
	var n anyNotebook
	if err := json.Unmarshal(files[0].Data, &n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestCellIDsAreUnique(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range notebookOf(t, "three groups").Cells {
		if seen[c.ID] {
			t.Errorf("id %q is there twice", c.ID)
		}
		seen[c.ID] = true
	}
}

// Every picture that a cell names is attached to it, and is a picture.
func TestAttachments(t *testing.T) {
	pictures := 0
	for _, c := range notebookOf(t, "three groups").Cells {
		source := strings.Join(c.Source, "")
		for name, kinds := range c.Attachments {
			pictures++
			if !strings.Contains(source, "(attachment:"+name+")") {
				t.Errorf("%s is attached but not shown", name)
			}
			data, err := base64.StdEncoding.DecodeString(kinds["image/png"])
			if err != nil {
				t.Fatal(err)
			}
			if _, err := png.Decode(bytes.NewReader(data)); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	if pictures != 3 {
		t.Errorf("%d pictures, want 3", pictures)
	}
}

// The stored output of the code cell has, for each estimate the cell names, the texts of its row in tables/estimates.csv
// in the cell's columns. That running the cell prints the same was seen once by hand with Python 3.11.
func TestStoredOutputIsTheTable(t *testing.T) {
	for _, name := range []string{"three groups", "many groups", "masked"} {
		b := mustOpen(t, documents()[name])
		tables, err := estimateTables(b)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(tables[0].Data)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]int{}
		for i, h := range rows[0] {
			at[h] = i
		}
		byID := map[string][]string{}
		for _, r := range rows[1:] {
			byID[r[at["id"]]] = r
		}
		ids := b.mainNumbers()
		checkOutput(t, b.tableCell(ids).Outputs[0].Text, ids, byID, at)
	}
}

func checkOutput(t *testing.T, lines, ids []string, byID map[string][]string, at map[string]int) {
	t.Helper()
	if len(lines) < len(ids)+1 {
		t.Fatalf("%d lines for %d estimates", len(lines), len(ids))
	}
	for i, id := range ids {
		var want []string
		for _, column := range printed {
			want = append(want, strings.Fields(byID[id][at[column]])...)
		}
		if got := strings.Fields(lines[i+1]); strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("%s is printed as %q, want %q", id, got, want)
		}
	}
}

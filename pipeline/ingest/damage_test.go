package ingest

import (
	"bytes"
	"errors"
	commandline "flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"

	"deltoid/schemas"
)

var damagedPlaces = commandline.Int("damage", 60, "at how many places Parquet files are damaged and read through a child; 10000 for all")

// Parquet files with a byte changed, or cut, at places spread over the whole file go all the way through a child: a table or a
// problem of the file, in little time, and never the end of this process. With
//
//	go test ./pipeline/ingest -run ThroughAChild -damage 10000 -timeout 2h -v
//
// that is 10,000 places, of eight files by four writers. The last such run, on a busy machine: 6,871 problems, 3,129 tables (where a
// byte lies in a page without a checksum, or in nothing that is read), the slowest after 2.3 seconds.
func TestDamagedParquetThroughAChild(t *testing.T) {
	files := map[string][]byte{}
	names, err := filepath.Glob(otherWriters + "/*.parquet")
	if err != nil || len(names) < 5 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	for _, name := range names {
		if files[name], err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	record, _ := everyType(true)
	files["plain"] = []byte(writeRecord(t, record, parquet.WithDictionaryDefault(false), parquet.WithCompression(compress.Codecs.Uncompressed)))
	path := filepath.Join(t.TempDir(), "a.parquet")
	var refused, read, longest = 0, 0, time.Duration(0)
	for name, whole := range files {
		s := few()
		if name == "plain" {
			s = everyTypeSchema()
		}
		for i := range max(1, *damagedPlaces/len(files)) {
			at := (i*7919 + 31*i/len(whole)) % len(whole)
			b := bytes.Clone(whole)
			if b[at] ^= byte(1 << (i % 8)); i%4 == 3 {
				b = b[:at]
			}
			if err := os.WriteFile(path, b, 0o600); err != nil {
				t.Fatal(err)
			}
			src := schemas.Source{Table: s.Name, Files: []string{path}, Shown: []string{"a.parquet"}, Plan: "plan.yaml:3"}
			if strings.Contains(name, "zoned") || strings.Contains(name, "utc") {
				src.Zones = map[string]string{"operated": "UTC"}
			}
			begin := time.Now()
			_, err := Read(t.Context(), s, src, &schemas.Findings{}, nil)
			longest = max(longest, time.Since(begin))
			var ps schemas.Problems
			switch {
			case err == nil:
				read++
			case errors.As(err, &ps) && ps[0].Kind == schemas.ExportProblem:
				refused++
			default:
				t.Fatalf("%s, bit %d of byte %d: %v", filepath.Base(name), i%8, at, err)
			}
		}
	}
	t.Logf("%d problems, %d tables, the slowest after %v", refused, read, longest.Round(time.Millisecond))
	if refused == 0 || longest > time.Minute {
		t.Errorf("%d of %d damaged files were refused, and the slowest took %v", refused, refused+read, longest)
	}
}

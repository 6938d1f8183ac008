package main

import (
	_ "github.com/apache/arrow/go/v15/arrow/csv"
	_ "github.com/apache/arrow/go/v15/parquet/pqarrow"
	_ "github.com/go-gota/gota/dataframe"
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/klauspost/compress/zstd"
	_ "github.com/santhosh-tekuri/jsonschema/v6"
	_ "github.com/spf13/cobra"
	_ "github.com/yuin/goldmark"
	_ "go.yaml.in/yaml/v3"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/term"
	_ "golang.org/x/text/encoding/charmap"
	_ "gonum.org/v1/gonum/mat"
	_ "gonum.org/v1/gonum/mathext"
	_ "gonum.org/v1/gonum/optimize"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "gonum.org/v1/plot"
	_ "gonum.org/v1/plot/vg/vgpdf"
	_ "gonum.org/v1/plot/vg/vgsvg"
	_ "pgregory.net/rapid"
)

func main() {}

package ingest

import (
	"context"

	"deltoid/schemas"
)

// Read reads all files of one source into one table.
func Read(ctx context.Context, s *schemas.Schema, src schemas.Source, found *schemas.Findings,
	progress func(bytesDone, bytesTotal int64)) (*schemas.Table, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return nil, &schemas.Problem{Kind: schemas.ExportProblem, Where: src.Plan, What: "no file could be read"}
}

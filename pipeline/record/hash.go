package record

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"runtime"

	"deltoid/schemas"

	"golang.org/x/sync/errgroup"
)

// HashFile returns the SHA-256 of a file, in 64 hexadecimal digits, and its size in bytes. It reads the file in pieces.
func HashFile(path string) (sum string, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	size, err = io.Copy(h, f)
	if err != nil {
		return "", 0, err
	}
	return hex.EncodeToString(h.Sum(nil)), size, nil
}

// HashFiles hashes files side by side and returns them in the order given, each under the path given for it. An input
// that cannot be read is a [schemas.Problem]; the first in the order given is returned.
func HashFiles(ctx context.Context, paths []string) ([]File, error) {
	files, errs := make([]File, len(paths)), make([]error, len(paths))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, p := range paths {
		g.Go(func() error {
			if errs[i] = ctx.Err(); errs[i] != nil {
				return nil
			}
			sum, size, err := HashFile(p)
			files[i], errs[i] = File{Path: p, Bytes: size, SHA256: sum}, unreadable(err, p)
			return nil
		})
	}
	_ = g.Wait() // the goroutines report through errs, so that the order decides which error is returned
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return files, nil
}

func unreadable(err error, path string) error {
	p := &schemas.Problem{Kind: schemas.ExportProblem, Where: path, Cause: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		p.What, p.Remedy = "the file is not there", "put it back, or correct its path in the plan"
	case errors.Is(err, fs.ErrPermission):
		p.What, p.Remedy = "the permission to read the file is missing", "ask for it, or use a copy"
	default:
		return err
	}
	return p
}

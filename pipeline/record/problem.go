package record

import (
	"errors"
	"io/fs"
	"syscall"

	"deltoid/schemas"
)

// problem turns an error of the file system into one that says what to do. An error with no known remedy stays as it is.
// A full disk is nobody's plan, so its problem has no kind.
func problem(err error, where string) error {
	p := &schemas.Problem{Where: where, Cause: err}
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		p.What = "the disk is full, or your share of it is"
		p.Remedy = "make room, or give another folder with --out; nothing that was there before has been changed"
	case errors.Is(err, syscall.EROFS):
		p.Kind = schemas.PlanProblem
		p.What = "this disk can only be read"
		p.Remedy = "give a folder on another disk with --out"
	case errors.Is(err, fs.ErrPermission):
		p.Kind = schemas.PlanProblem
		p.What = "the permission for this file or folder is missing"
		p.Remedy = "ask for it, or give another folder with --out"
	case errors.Is(err, syscall.ENOTDIR):
		p.Kind = schemas.PlanProblem
		p.What = "a part of this path is a file"
		p.Allowed = "a path whose every part but the last is a folder"
		p.Remedy = "give another folder with --out"
	default:
		return err
	}
	return p
}

package rpc

import (
	"fmt"
	"strconv"

	"cullet/services/errs"
)

// Etag gives the etag of a version. It is opaque to callers.
func Etag(version int) string { return "v" + strconv.Itoa(version) }

// ParseEtag reads an etag that this server gave out. Another text is a fault of the field at path.
func ParseEtag(path, etag string) (version int, faults []errs.Field) {
	if len(etag) > 1 && etag[0] == 'v' {
		n, err := strconv.Atoi(etag[1:])
		if err == nil && n > 0 && Etag(n) == etag {
			return n, nil
		}
	}
	if etag == "" {
		return 0, []errs.Field{{Path: path, Reason: "REQUIRED",
			Message: "nothing was given and the etag is required; read the thing and send the etag that it carries"}}
	}
	return 0, []errs.Field{{Path: path, Reason: "ETAG_MALFORMED", Message: fmt.Sprintf(
		"%s was given; read the thing again and send its etag as it is", show(etag))}}
}

// CheckVersion compares the version that a caller read with what is stored; another one is an
// errs.Stale error that carries the stored etag.
func CheckVersion(read, stored int) error {
	if read == stored {
		return nil
	}
	return errs.Newf(errs.Stale, "ETAG_STALE", "somebody else changed this since it was read: the etag was %s "+
		"and is now %s; read it again, and repeat the change on what is there now", Etag(read), Etag(stored)).
		With(errs.DetailEtag, Etag(stored))
}

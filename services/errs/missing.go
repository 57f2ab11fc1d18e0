package errs

// Keys of Error.Detail that say which thing an error is about; the edge makes details of their
// own of them.
const (
	// DetailType is the sort of thing: "payer".
	DetailType = "resource_type"
	// DetailName is its identifier.
	DetailName = "resource_name"
	// DetailEtag is the stored etag, when the caller's is older.
	DetailEtag = "etag"
)

// Missing is the error of a thing that does not exist for this caller. It says the same, to the
// byte, whether the thing never existed or belongs to another shop.
func Missing(thing, id string) *Error {
	return Newf(NotFound, "NOT_FOUND", "there is no %s %q in this shop; list what there is and use an identifier from there",
		thing, id).With(DetailType, thing).With(DetailName, id)
}

package webhook

// Reasons of refusals, as errs.Error carries them. They never change; testdata/webhooks holds
// examples of each.
const (
	// ReasonSecretForm: a secret that is not prefix and base64.
	ReasonSecretForm = "SECRET_FORM"
	// ReasonSecretLength: a secret that is too short or too long.
	ReasonSecretLength = "SECRET_LENGTH"
	// ReasonSecretMissing: no secret to verify with, or only a public key to sign with.
	ReasonSecretMissing = "SECRET_MISSING"

	// ReasonIDMissing, ReasonTimestampMissing, ReasonSignatureMissing: the header is absent.
	ReasonIDMissing        = "ID_MISSING"
	ReasonTimestampMissing = "TIMESTAMP_MISSING"
	ReasonSignatureMissing = "SIGNATURE_MISSING"
	// ReasonIDRepeated, ReasonTimestampRepeated, ReasonSignatureRepeated: the header stands
	// there more than once.
	ReasonIDRepeated        = "ID_REPEATED"
	ReasonTimestampRepeated = "TIMESTAMP_REPEATED"
	ReasonSignatureRepeated = "SIGNATURE_REPEATED"

	// ReasonIDForm: not 1 to 64 letters, digits, hyphens and underscores.
	ReasonIDForm = "ID_FORM"
	// ReasonTimestampForm: not seconds since 1970 in plain decimal digits.
	ReasonTimestampForm = "TIMESTAMP_FORM"
	// ReasonTimestampOld and ReasonTimestampNew: more than 300 seconds from now.
	ReasonTimestampOld = "TIMESTAMP_OLD"
	ReasonTimestampNew = "TIMESTAMP_NEW"

	// ReasonSignatureCount: more than eight.
	ReasonSignatureCount = "SIGNATURE_COUNT"
	// ReasonSignatureForm: not version, comma and base64, single spaces between several.
	ReasonSignatureForm = "SIGNATURE_FORM"
	// ReasonSignatureVersion: none is of a version that the secrets are for.
	ReasonSignatureVersion = "SIGNATURE_VERSION"
	// ReasonSignatureMismatch: none matches.
	ReasonSignatureMismatch = "SIGNATURE_MISMATCH"

	// ReasonBodyLength: the body is longer than what is read.
	ReasonBodyLength = "BODY_LENGTH"
	// ReasonJSONForm: the body is not one JSON value in UTF-8.
	ReasonJSONForm = "JSON_FORM"
	// ReasonJSONDepth: it is nested deeper than 64.
	ReasonJSONDepth = "JSON_DEPTH"
	// ReasonJSONKeyRepeated: an object has the same key twice.
	ReasonJSONKeyRepeated = "JSON_KEY_REPEATED"
	// ReasonJSONKeyCase: two keys of an object differ in case only.
	ReasonJSONKeyCase = "JSON_KEY_CASE"
)

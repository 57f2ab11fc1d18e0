// Package httpschannel is the channel "https": a stored document is posted to the payer's
// address, and the payer's status says whether he has it.
//
// It refuses every address that outbound refuses, follows no redirect, always verifies TLS, and
// believes no answer that it could not read whole: what is not certain is unknown, and the same bytes
// are sent again under the same number.
//
// A request is a POST with the document as its body and
//
//	Content-Type              the document's media type
//	Authorization             Bearer and the profile's token, when it has one
//	Cullet-Control-Number     unique with the payer, for ever
//	Cullet-Document-Hash      SHA-256 of the body in hex
//	Cullet-File-Name          the name that the document has in a folder
//
// A payer answers 200, 201 or 202 when he has the document, and 409 when the number is taken: with
// the hash of what took it, {"document_hash": "..."}. If that is the hash of what was sent, he has
// the document already. His answer may say more:
//
//	{"reference": "...", "message": "...", "known": true, "control_number": 17, "document_hash": "..."}
package httpschannel

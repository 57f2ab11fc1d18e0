package payers

// TopicChanged is the work that a new version of a profile asks for: claims that have not left the
// house are to be checked again. The key is the payer.
const TopicChanged = "payer.changed"

// InboundPath is where the server takes payers' messages; the payer's route follows.
const InboundPath = "/inbound/"

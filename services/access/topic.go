package access

// TopicChanged is the work that a change of a shop's settings asks for: what was computed with them
// and has not left the house is to be checked again. The key is the shop.
const TopicChanged = "shop.changed"

package claims

// Topics of work in the outbox: what must be checked again before it is released. The key is the
// identifier of what changed.
const (
	// RecheckShop: the shop's settings changed; the key is the shop.
	RecheckShop = "claim.recheck_shop"
	// RecheckPayer: a payer's profile changed; the key is the payer.
	RecheckPayer = "claim.recheck_payer"
)

package access

import (
	"time"

	"cullet/services/ident"
)

// Role is what the holder of a key is to the shop.
type Role string

// The roles, from most to least.
const (
	Owner  Role = "OWNER"
	Clerk  Role = "CLERK"
	System Role = "SYSTEM"
	Reader Role = "READER"
)

// Right is what a method needs of its caller.
type Right string

// The rights, as the contract names them.
const (
	AnyKey     Right = "ANY"
	Read       Right = "READ"
	Record     Right = "RECORD"
	Claim      Right = "CLAIM"
	Money      Right = "MONEY"
	Run        Right = "RUN"
	Administer Right = "ADMINISTER"
)

var rights = map[Role]map[Right]bool{
	Owner:  {AnyKey: true, Read: true, Record: true, Claim: true, Money: true, Run: true, Administer: true},
	Clerk:  {AnyKey: true, Read: true, Record: true, Claim: true, Money: true, Run: true},
	System: {AnyKey: true, Read: true, Record: true},
	Reader: {AnyKey: true, Read: true},
}

// May tells whether the role has the right. An unknown role or right has none.
func (r Role) May(right Right) bool { return rights[r][right] }

// Key is a key without its secret.
type Key struct {
	ID         ident.Key
	Shop       ident.Shop
	Name       string
	Role       Role
	Prefix     string
	CreateTime time.Time
	ExpireTime *time.Time
	RevokeTime *time.Time
}

// IsLive tells whether the key opens anything at the instant.
func (k Key) IsLive(now time.Time) bool {
	return k.RevokeTime == nil && (k.ExpireTime == nil || now.Before(*k.ExpireTime))
}

// Caller is who is calling, as the key says.
type Caller struct {
	Shop ident.Shop
	Key  ident.Key
	Name string
	Role Role
}

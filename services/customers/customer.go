// Package customers is for whom the shop works: motorists and fleet accounts, with the
// exemption certificates that they have shown.
package customers

import (
	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/tax"
)

// Customer is a motorist or a fleet account on file.
type Customer struct {
	ID           ident.Customer    `json:"-"`
	Shop         ident.Shop        `json:"-"`
	Name         string            `json:"name" validate:"required,max=200"`
	Telephone    string            `json:"telephone,omitempty" validate:"max=40"`
	Email        string            `json:"email,omitempty" validate:"omitempty,email,max=200"`
	Address      access.Address    `json:"address,omitzero"`
	Certificates []tax.Certificate `json:"certificates,omitempty" validate:"max=50"`
}

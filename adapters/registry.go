package adapters

import (
	"crypto/x509"

	"cullet/adapters/channel/folder"
	httpschannel "cullet/adapters/channel/https"
	sftpchannel "cullet/adapters/channel/sftp"
	csvformat "cullet/adapters/format/csv"
	jsonformat "cullet/adapters/format/json"
	"cullet/adapters/format/ubl"
	"cullet/adapters/format/x12"
	csvintake "cullet/adapters/intake/csv"
	"cullet/adapters/intake/jsonlines"
	"cullet/adapters/remittance/camt"
	csvremittance "cullet/adapters/remittance/csv"
	"cullet/adapters/remittance/x12820"
	"cullet/services/claims"
	"cullet/services/invoices"
	"cullet/services/jobs"
)

// Formats lists the formats of claims that a payer's profile can name.
func Formats() []claims.Format {
	return []claims.Format{
		jsonformat.Format{},
		x12.Format{},
		csvformat.Format{},
	}
}

// RemittanceFormats lists the formats of remittance files that can be posted.
func RemittanceFormats() []invoices.RemittanceFormat {
	return []invoices.RemittanceFormat{
		csvremittance.Format{},
		x12820.Format{},
		camt.Format{},
	}
}

// InvoiceWriters lists the formats in which invoices are written for programs, by media type.
func InvoiceWriters() []invoices.Writer {
	return []invoices.Writer{
		ubl.Writer{},
	}
}

// Intakes lists the formats of shop systems' files that a mapping can name.
func Intakes() []jobs.IntakeFormat {
	return []jobs.IntakeFormat{
		csvintake.Format{},
		jsonlines.Format{},
	}
}

// ChannelOptions is what channels need of the machine that they run on.
type ChannelOptions struct {
	// RootCAs are the certificate authorities to believe; nil believes the system's.
	RootCAs *x509.CertPool
	// Folders is the root of payers' folders; when it is empty, profiles that name the channel
	// "folder" cannot be delivered to.
	Folders string
}

// Channels lists the channels that a payer's profile can name.
func Channels(o ChannelOptions) []claims.Channel {
	channels := []claims.Channel{
		httpschannel.New(httpschannel.Options{RootCAs: o.RootCAs}),
		sftpchannel.New(),
	}
	if o.Folders != "" {
		channels = append(channels, folder.New(folder.Options{Root: o.Folders}))
	}
	return channels
}

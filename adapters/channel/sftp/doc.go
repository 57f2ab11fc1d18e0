// Package sftpchannel is the channel "sftp": it lays documents into a folder of the payer's server
// and takes answer files out of another one.
//
// The address is "sftp://user@host.example/in?answers=/out". The server must show one of the host keys
// that stand in the payer's profile, and the shop signs in with the password or private key of the
// credentials. A document is written under a hidden name, then renamed: so nobody sees a part of it.
// SFTP's rename takes no name that is taken, so of two deliveries at once one wins, and the other finds
// the same bytes there and is content.
//
// The package refuses a server that it does not know, an address that the door of package outbound
// refuses, and a name that lies there with other bytes.
package sftpchannel

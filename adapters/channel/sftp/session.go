package sftpchannel

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path"
	"strings"

	"github.com/pkg/sftp"
	"golang.org/x/crypto/ssh"

	"cullet/services/claims"
	"cullet/services/errs"
)

// session is one connection to a payer's server. It ends with its context.
type session struct {
	ctx    context.Context
	files  *sftp.Client
	folder string
	// answers is the folder of answer files; empty when the payer lays none down.
	answers string
	close   func()
}

// errUnknownHost is a server that shows none of the keys in the profile.
var errUnknownHost = errors.New("its server shows a key that is not in the payer's profile")

// open connects, knows the server by its key, and signs in. Whatever somebody must mend is
// claims.ErrMisaddressed; secrets are never repeated.
func (c *Channel) open(ctx context.Context, to claims.Destination) (*session, error) {
	u, err := c.check(to.Address)
	if err != nil {
		return nil, misaddressed(err)
	}
	known, algorithms, err := hostKeys(to.HostKeys)
	if err != nil {
		return nil, err
	}
	ways, err := signIn(to)
	if err != nil {
		return nil, err
	}
	folder := path.Clean("/" + u.Path)
	answers := u.Query().Get("answers")
	if answers != "" {
		answers = path.Clean("/" + answers)
	}
	conn, err := c.dial(ctx, u)
	if err != nil {
		if known, ok := errors.AsType[*errs.Error](err); ok {
			return nil, misaddressed(known)
		}
		return nil, fmt.Errorf("the payer's server could not be reached: %.300s", err)
	}
	// Closing the connection ends every wait in it.
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	s, err := begin(ctx, conn, &ssh.ClientConfig{User: u.User.Username(), Auth: ways, HostKeyAlgorithms: algorithms,
		HostKeyCallback: func(_ string, _ net.Addr, key ssh.PublicKey) error {
			if !known[string(key.Marshal())] {
				return errUnknownHost
			}
			return nil
		}})
	if err != nil {
		stop()
		_ = conn.Close()
		return nil, err
	}
	s.folder, s.answers = folder, answers
	s.close = func() {
		stop()
		// The connection first: a server that never ends its side would keep files.Close waiting.
		_ = conn.Close()
		_ = s.files.Close()
	}
	return s, nil
}

func begin(ctx context.Context, conn net.Conn, config *ssh.ClientConfig) (*session, error) {
	secure, channels, requests, err := ssh.NewClientConn(conn, conn.RemoteAddr().String(), config)
	switch {
	case ctx.Err() != nil:
		return nil, fmt.Errorf("sign in at the payer's server: %w", context.Cause(ctx))
	case errors.Is(err, errUnknownHost), err != nil && strings.Contains(err.Error(), errUnknownHost.Error()):
		return nil, fmt.Errorf("%w: %w; ask the payer for its host key and compare", claims.ErrMisaddressed, errUnknownHost)
	case err != nil && strings.Contains(err.Error(), "unable to authenticate"):
		return nil, fmt.Errorf("%w: its server does not take the account's password or key", claims.ErrMisaddressed)
	case err != nil:
		return nil, fmt.Errorf("sign in at the payer's server: %.300s", err)
	}
	files, err := sftp.NewClient(ssh.NewClient(secure, channels, requests))
	if err != nil {
		return nil, fmt.Errorf("begin with files at the payer's server: %.300s", err)
	}
	return &session{ctx: ctx, files: files}, nil
}

// hostKeys reads the keys of the profile. A server that nobody can know is never spoken to.
func hostKeys(lines []string) (known map[string]bool, algorithms []string, err error) {
	known = map[string]bool{}
	for _, line := range lines {
		key, _, _, _, err := ssh.ParseAuthorizedKey([]byte(line))
		if err != nil {
			return nil, nil, fmt.Errorf("%w: a host key in the payer's profile cannot be read", claims.ErrMisaddressed)
		}
		known[string(key.Marshal())] = true
		if key.Type() == ssh.KeyAlgoRSA {
			algorithms = append(algorithms, ssh.KeyAlgoRSASHA512, ssh.KeyAlgoRSASHA256)
		} else {
			algorithms = append(algorithms, key.Type())
		}
	}
	if len(known) == 0 {
		return nil, nil, fmt.Errorf("%w: the payer's profile has no host key, so nobody can tell its server from another; "+
			"ask the payer for it", claims.ErrMisaddressed)
	}
	return known, algorithms, nil
}

// signIn gives the ways in which the shop can prove who it is.
func signIn(to claims.Destination) (ways []ssh.AuthMethod, err error) {
	if to.PrivateKey != "" {
		signer, err := ssh.ParsePrivateKey([]byte(to.PrivateKey))
		if err != nil {
			return nil, fmt.Errorf("%w: the private key of the account cannot be read", claims.ErrMisaddressed)
		}
		ways = append(ways, ssh.PublicKeys(signer))
	}
	if to.Password != "" {
		ways = append(ways, ssh.Password(to.Password))
	}
	if len(ways) == 0 {
		return nil, fmt.Errorf("%w: there is neither a password nor a private key of the account", claims.ErrMisaddressed)
	}
	return ways, nil
}

// misaddressed says in one sentence what outbound found; it never repeats the address.
func misaddressed(err error) error {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return fmt.Errorf("%w: %s", claims.ErrMisaddressed, e.Message)
	}
	return fmt.Errorf("%w: its address cannot be read", claims.ErrMisaddressed)
}

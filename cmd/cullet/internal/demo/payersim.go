package demo

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"time"
)

// payersim is the simulated payers, a process of its own.
type payersim struct {
	command *exec.Cmd
	life    io.WriteCloser
	// URL is where documents are handed in.
	URL   string `json:"url"`
	roots *x509.CertPool
	http  *http.Client
}

// startPayersim starts the simulated payers from their program and waits until they answer.
func startPayersim(program, state string) (*payersim, error) {
	if err := os.MkdirAll(state, 0o755); err != nil {
		return nil, fmt.Errorf("make the payers' folder: %w", err)
	}
	exchange := filepath.Join(filepath.Dir(state), "exchange")
	if err := os.MkdirAll(exchange, 0o755); err != nil {
		return nil, fmt.Errorf("make the exchange folder: %w", err)
	}
	authority := filepath.Join(state, "ca.pem")
	p := &payersim{command: exec.Command(program, "-state", state, "-folders", exchange, "-at-build-time", "-with-parent")}
	p.command.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for us; we end it
	log, err := os.OpenFile(filepath.Join(state, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the payers' log: %w", err)
	}
	defer log.Close()
	p.command.Stderr = log
	if p.life, err = p.command.StdinPipe(); err != nil { // it ends with us, however we end
		return nil, fmt.Errorf("start the simulated payers: %w", err)
	}
	out, err := p.command.StdoutPipe()
	if err != nil {
		return nil, fmt.Errorf("start the simulated payers: %w", err)
	}
	if err := p.command.Start(); err != nil {
		return nil, fmt.Errorf("start the simulated payers: %w", err)
	}
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err != nil {
		return nil, errors.Join(fmt.Errorf("the simulated payers did not start; see %s: %w", log.Name(), err), p.stop())
	}
	if err := json.Unmarshal(line, p); err != nil || p.URL == "" {
		return nil, errors.Join(fmt.Errorf("the simulated payers said %.200q: %w", line, err), p.stop())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	return p, p.trust(authority)
}

func (p *payersim) trust(authority string) error {
	text, err := os.ReadFile(authority)
	if err != nil {
		return errors.Join(fmt.Errorf("read the payers' certificate: %w", err), p.stop())
	}
	p.roots = x509.NewCertPool()
	if !p.roots.AppendCertsFromPEM(text) {
		return errors.Join(errors.New("the payers' certificate cannot be read"), p.stop())
	}
	p.http = &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{
		TLSClientConfig: &tls.Config{RootCAs: p.roots, MinVersion: tls.VersionTLS12}}}
	return nil
}

// stop ends the process in good order.
func (p *payersim) stop() error {
	if p.command.Process == nil {
		return nil
	}
	_ = p.command.Process.Signal(syscall.SIGTERM)
	_, err := p.command.Process.Wait()
	if errors.Is(err, os.ErrProcessDone) {
		return nil
	}
	return err
}

// enrol tells the simulated payers who one of them is.
func (p *payersim) enrol(ctx context.Context, code string, configuration any) error {
	body, err := json.Marshal(configuration)
	if err != nil {
		return fmt.Errorf("write the configuration of %s: %w", code, err)
	}
	_, err = p.do(ctx, http.MethodPut, "/payers/"+code, body)
	return err
}

func (p *payersim) do(ctx context.Context, method, path string, body []byte) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, method, p.URL+path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("ask the simulated payers: %w", err)
	}
	response, err := p.http.Do(request)
	if err != nil {
		return nil, fmt.Errorf("ask the simulated payers: %w", err)
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	if err != nil {
		return nil, fmt.Errorf("ask the simulated payers: %w", err)
	}
	if response.StatusCode >= 300 {
		return nil, fmt.Errorf("the simulated payers answered %s: %.300s", response.Status, answer)
	}
	return answer, nil
}

// bookDocument is a document in the payers' own book.
type bookDocument struct {
	PayerCode     string `json:"payer_code"`
	ControlNumber int64  `json:"control_number"`
	Hash          string `json:"hash"`
	Claims        []struct {
		ClaimNumber string `json:"claim_number"`
		MinorUnits  int64  `json:"minor_units"`
		Outcome     string `json:"outcome"`
		IsDouble    bool   `json:"is_double"`
	} `json:"claims"`
}

// book reads what the payers wrote down; waiting is how many of their answers the shop has not
// taken yet.
func (p *payersim) book(ctx context.Context) (all []bookDocument, waiting int, err error) {
	text, err := p.do(ctx, http.MethodGet, "/book", nil)
	if err != nil {
		return nil, 0, err
	}
	var b struct {
		Payers []struct {
			Documents      []bookDocument `json:"documents"`
			WaitingLetters int            `json:"waiting_letters"`
		} `json:"payers"`
	}
	if err := json.Unmarshal(text, &b); err != nil {
		return nil, 0, fmt.Errorf("read the payers' book: %w", err)
	}
	for _, one := range b.Payers {
		all = append(all, one.Documents...)
		waiting += one.WaitingLetters
	}
	return all, waiting, nil
}

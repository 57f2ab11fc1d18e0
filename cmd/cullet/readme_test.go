package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/client"
	"cullet/testdata"
)

const root = "../.."

// readme is a server that was started by README.md's own line, and a folder in which a reader would
// stand: with proto, the npm packages and record.json.
type readme struct {
	t          *testing.T
	blocks     map[string][]string
	bin, place string
	state      string
	grpc, http string
	owner      *client.Client
	// variables are added to the environment of what is run.
	variables []string
}

// TestTheExamplesOfTheREADME runs the code of README.md as it stands there against a server that is
// started by its own line; only ports and the placeholders for numbers and files are replaced. The
// grpcurl lines are not run by grpcurl, which takes minutes to build: see grpcurlLine.
func TestTheExamplesOfTheREADME(t *testing.T) {
	t.Parallel()
	r := &readme{t: t, blocks: codeOf(t), bin: must[string](t)(buildRelease()), place: t.TempDir()}
	r.serve()
	r.settle()
	t.Run("how a shop system connects", r.connects)
	claim := r.claim()
	t.Run("from JavaScript", r.javaScript)
	t.Run("the command line", func(t *testing.T) { r.commandLine(t, claim) })
}

var fence = regexp.MustCompile("(?ms)^```([a-z]*)\n(.*?)^```$")

// codeOf gives the code blocks of README.md by the section that they stand in.
func codeOf(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	blocks := map[string][]string{}
	for _, section := range strings.Split(string(text), "\n## ") {
		title, body, _ := strings.Cut(section, "\n")
		for _, found := range fence.FindAllStringSubmatch(body, -1) {
			blocks[title] = append(blocks[title], found[2])
		}
	}
	if n, m := len(blocks["How a shop system connects"]), len(blocks["The command line"]); n != 2 || m != 1 {
		t.Fatalf("README.md has %d blocks of code about connecting, want 2, and %d about the command line, want 1", n, m)
	}
	return blocks
}

// commands gives the command lines of a block, without what is said about them.
func commands(block string) (all []string) {
	for line := range strings.Lines(block) {
		line, _, _ = strings.Cut(line, " # ")
		for command := range strings.SplitSeq(line, ", ") {
			all = append(all, strings.TrimSpace(command))
		}
	}
	return all
}

// serve runs the first line of "The command line" in the project's folder, on ports of its own.
func (r *readme) serve() {
	r.t.Helper()
	line := commands(r.blocks["The command line"][0])[0]
	r.state = stateFolder(r.t)
	args := append(strings.Fields(line)[1:], "--state", r.state, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	if args[0] != "serve" {
		r.t.Fatalf("the first command is %q and serves nothing", line)
	}
	said := startProgram(r.t, r.bin, root, regexp.MustCompile(`msg=ready grpc=(\S+) http=(\S+)\n`), args...)
	r.grpc, r.http = said[1], said[2]
	r.variables = []string{"CULLET_STATE=" + r.state, "CULLET_SERVER=" + r.grpc}
	key, err := os.ReadFile(filepath.Join(r.state, "owner-key"))
	if err != nil {
		r.t.Fatalf("the owner's key is not where README.md says: %v", err)
	}
	if r.owner, err = client.Dial(r.t.Context(), client.Config{Address: r.grpc, Key: strings.TrimSpace(string(key))}); err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { _ = r.owner.Close() })
}

// settle gives the shop a payer that is served by files in a folder, the shop system a key, and the
// reader his record.json.
func (r *readme) settle() {
	r.t.Helper()
	usd := func(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }
	_, err := r.owner.Payers.CreatePayer(r.t.Context(), &payersv1.CreatePayerRequest{Code: "lantern-mutual",
		Name: "Lantern Mutual (invented)", Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{
			IsMobileWorkPaid: true, AnswerDays: 14, PaymentDays: 30, Format: "json", Channel: "folder", Address: "lantern-mutual",
			PriceAgreements: []*payersv1.PriceAgreement{{Key: "Lantern 2026", ValidFrom: "2026-01-01", FirstRepair: usd(7995),
				FurtherRepair: usd(1500), MaterialsBasisPoints: 1500}}}})
	if err != nil {
		r.t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(r.state, "exchange", "lantern-mutual"), 0o700); err != nil {
		r.t.Fatal(err)
	}
	made, err := r.owner.Access.CreateKey(r.t.Context(), &accessv1.CreateKeyRequest{Name: "shop system", Role: accessv1.Role_ROLE_SYSTEM})
	if err != nil {
		r.t.Fatal(err)
	}
	r.variables = append(r.variables, "KEY="+made.GetSecret())
	text, err := fs.ReadFile(testdata.Repairs, "repairs/R-0001-bullseye-at-the-shop.json")
	if err != nil {
		r.t.Fatal(err)
	}
	var visit struct {
		Record json.RawMessage `json:"record"`
	}
	if err := json.Unmarshal(text, &visit); err != nil {
		r.t.Fatal(err)
	}
	record, err := json.Marshal(visit)
	if err != nil {
		r.t.Fatal(err)
	}
	r.write("record.json", record)
}

func (r *readme) write(name string, content []byte) {
	r.t.Helper()
	if err := os.WriteFile(filepath.Join(r.place, name), content, 0o600); err != nil {
		r.t.Fatal(err)
	}
}

// run runs a program in the reader's folder and gives what it wrote and its exit code.
func (r *readme) run(t *testing.T, name string, args ...string) (out string, code int) {
	t.Helper()
	command := exec.CommandContext(t.Context(), name, args...)
	command.Dir, command.Env = r.place, append(os.Environ(), r.variables...)
	var wrote, problems bytes.Buffer
	command.Stdout, command.Stderr = &wrote, &problems
	err := command.Run()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatalf("%s: %v", command, err)
	}
	if err != nil {
		t.Logf("%s: %v: %s", command, err, problems.String())
	}
	return wrote.String(), command.ProcessState.ExitCode()
}

// here puts the test's ports in the place of README.md's.
func (r *readme) here(code string) string {
	return strings.NewReplacer("localhost:9440", r.grpc, "localhost:9441", r.http).Replace(code)
}

// connects sends what each line of the first block sends.
func (r *readme) connects(t *testing.T) {
	jobs := map[string]bool{}
	for _, line := range commands(r.blocks["How a shop system connects"][0]) {
		program, _, _ := strings.Cut(line, " ")
		switch program {
		case "grpcurl":
			r.grpcurlLine(t, line, jobs)
		case "curl":
			r.curlLine(t, line, jobs)
		default:
			t.Errorf("nobody knows how to try %q", line)
		}
	}
	if len(jobs) != 1 {
		t.Errorf("the same record made the jobs %v, want one job twice", jobs)
	}
}

// curlLine runs the line in a shell.
func (r *readme) curlLine(t *testing.T, line string, jobs map[string]bool) {
	t.Helper()
	if _, err := exec.LookPath("curl"); err != nil {
		t.Skip("NOT RUN: README.md's line for curl - make install")
	}
	out, code := r.run(t, "sh", "-c", r.here(line))
	var answer struct{ Job struct{ JobID string } }
	if err := json.Unmarshal([]byte(out), &answer); err != nil || code != 0 || answer.Job.JobID == "" {
		t.Fatalf("%s\nended with %d: %s", line, code, out)
	}
	jobs[answer.Job.JobID] = true
}

// claim waits for the claim of the record and gives it.
func (r *readme) claim() *claimsv1.Claim {
	r.t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); {
		found, err := r.owner.Claims.ListClaims(r.t.Context(), &claimsv1.ListClaimsRequest{})
		if err != nil {
			r.t.Fatal(err)
		}
		if len(found.GetClaims()) == 1 {
			return found.GetClaims()[0]
		}
		<-time.After(10 * time.Millisecond) // between two looks, not before a verdict
	}
	r.t.Fatal("the record that was sent opens no claim")
	return nil
}

// javaScript runs the second block with node.
func (r *readme) javaScript(t *testing.T) {
	packages, err := filepath.Abs(filepath.Join(root, ".ci", "node-client", "node_modules"))
	if err != nil {
		t.Fatal(err)
	}
	_, missing := os.Stat(filepath.Join(packages, "@grpc"))
	if _, err := exec.LookPath("node"); err != nil || missing != nil {
		t.Skip("NOT RUN: README.md's example in JavaScript - make install")
	}
	contract, err := filepath.Abs(filepath.Join(root, "proto"))
	if err != nil {
		t.Fatal(err)
	}
	for link, target := range map[string]string{"node_modules": packages, "proto": contract} {
		if err := os.Symlink(target, filepath.Join(r.place, link)); err != nil {
			t.Fatal(err)
		}
	}
	r.write("example.js", []byte(r.here(r.blocks["How a shop system connects"][1])))
	out, code := r.run(t, "node", "example.js")
	if code != 0 || !strings.Contains(out, "reason: 'READY_TO_RELEASE'") || !strings.Contains(out, "claim_number: 'C-000001'") {
		t.Errorf("it ended with %d and does not show the task: %s", code, out)
	}
}

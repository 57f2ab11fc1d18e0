package webhook

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const vectorsFile = "../../testdata/webhooks/vectors.json"

// vector is one signed message of the file; see its README.
type vector struct {
	Name       string      `json:"name"`
	Secrets    []string    `json:"secrets"`
	Headers    [][2]string `json:"headers"`
	Body       string      `json:"body"`
	BodyBase64 []byte      `json:"body_base64"`
	Now        int64       `json:"now"`
	ID         string      `json:"id"`
	Reason     string      `json:"reason"`
	NPM        string      `json:"npm"`
	Why        string      `json:"why"`
}

func readVectors(t *testing.T) []vector {
	t.Helper()
	content, err := os.ReadFile(vectorsFile)
	if err != nil {
		t.Fatal(err)
	}
	var all []vector
	if err := json.Unmarshal(content, &all); err != nil {
		t.Fatal(err)
	}
	names, negative := map[string]bool{}, 0
	for i, v := range all {
		if names[v.Name] || (v.ID == "") == (v.Reason == "") {
			t.Fatalf("vector %q stands twice, or has not exactly one of id and reason", v.Name)
		}
		names[v.Name] = true
		if v.Reason != "" {
			negative++
		}
		if v.BodyBase64 != nil {
			all[i].Body = string(v.BodyBase64)
		}
	}
	if len(all) < 80 || negative < 45 {
		t.Fatalf("%d vectors, %d of them negative; want 80 and 45", len(all), negative)
	}
	return all
}

// verdict is "OK <id>" or the reason.
func (v vector) verdict() string {
	if v.ID != "" {
		return "OK " + v.ID
	}
	return v.Reason
}

// judge does what the receiver does, from secrets in text to strict JSON.
func judge(v vector) string {
	secrets := make([]Secret, len(v.Secrets))
	for i, text := range v.Secrets {
		var err error
		if secrets[i], err = ParseSecret(text); err != nil {
			return reasonOf(err)
		}
	}
	header := http.Header{}
	for _, h := range v.Headers {
		header[h[0]] = append(header[h[0]], h[1])
	}
	id, err := Verify(secrets, header, []byte(v.Body), time.Unix(v.Now, 0))
	if err == nil {
		err = readable([]byte(v.Body))
	}
	if err != nil {
		return reasonOf(err)
	}
	return "OK " + id
}

func TestVectors(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, v := range readVectors(t) {
		if got, want := judge(v), v.verdict(); got != want {
			t.Errorf("%s: got %s, want %s", v.Name, got, want)
		}
		seen[v.Reason] = true
	}
	for _, reason := range []string{ReasonSecretForm, ReasonSecretLength, ReasonSecretMissing, ReasonIDMissing,
		ReasonTimestampMissing, ReasonSignatureMissing, ReasonIDRepeated, ReasonTimestampRepeated,
		ReasonSignatureRepeated, ReasonIDForm, ReasonTimestampForm, ReasonTimestampOld, ReasonTimestampNew,
		ReasonSignatureCount, ReasonSignatureForm, ReasonSignatureVersion, ReasonSignatureMismatch,
		ReasonJSONForm, ReasonJSONDepth, ReasonJSONKeyRepeated, ReasonJSONKeyCase} {
		if !seen[reason] {
			t.Errorf("no vector expects %s", reason)
		}
	}
}

// TestVectorsJudgedByPython runs a verifier that shares nothing with ours but the rules.
func TestVectorsJudgedByPython(t *testing.T) {
	t.Parallel()
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("NOT RUN: vectors judged by Python - apt-get install python3")
	}
	verdicts := runOracle(t, exec.Command(python, "../../testdata/webhooks/verify.py", vectorsFile))
	unjudged := 0
	for _, v := range readVectors(t) {
		switch got, want := verdicts[v.Name], v.verdict(); {
		case got == "UNJUDGED" && strings.Contains(strings.Join(v.Secrets, " "), "k_"):
			unjudged++ // an ed25519 key decides, which Python's library does not know
		case got != want:
			t.Errorf("%s: Python says %q, want %q", v.Name, got, want)
		}
	}
	if unjudged > 12 {
		t.Errorf("Python left %d vectors unjudged, want no more than those of ed25519", unjudged)
	}
}

// TestVectorsJudgedByNPM runs the package standardwebhooks 1.1.1 (MIT) of the npm registry. It is
// more lenient than we are: each difference stands in the file with the reason, and none is silent.
func TestVectorsJudgedByNPM(t *testing.T) {
	t.Parallel()
	folder := filepath.Join("..", "..", ".ci", "oracles", "webhooks")
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("NOT RUN: vectors judged by the npm package standardwebhooks - apt-get install nodejs npm")
	}
	if _, err := os.Stat(filepath.Join(folder, "node_modules", "standardwebhooks")); err != nil {
		t.Skip("NOT RUN: vectors judged by the npm package standardwebhooks - npm ci --prefix .ci/oracles/webhooks")
	}
	verdicts := runOracle(t, exec.Command(node, filepath.Join(folder, "verify.mjs"), vectorsFile))
	agreed := 0
	for _, v := range readVectors(t) {
		if got, want := verdicts[v.Name], v.NPM; got != want {
			t.Errorf("%s: the package %s, want %s", v.Name, got, want)
		}
		isDifferent := (v.ID != "") != (v.NPM == "accepts")
		if isDifferent && v.Why == "" {
			t.Errorf("%s: the package differs and the file does not say why", v.Name)
		}
		if isDifferent {
			t.Logf("the package %s %q, we say %s: %s", v.NPM, v.Name, v.verdict(), v.Why)
		} else {
			agreed++
		}
	}
	if agreed < 80 {
		t.Errorf("the package agrees on %d vectors, want 80 and more", agreed)
	}
}

func runOracle(t *testing.T, command *exec.Cmd) map[string]string {
	t.Helper()
	command.Stderr = os.Stderr
	out, err := command.Output()
	if err != nil {
		t.Fatalf("%s: %v", command, err)
	}
	verdicts := map[string]string{}
	for line := range strings.Lines(string(out)) {
		name, verdict, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		verdicts[name] = verdict
	}
	return verdicts
}

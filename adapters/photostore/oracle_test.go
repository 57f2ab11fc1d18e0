package photostore

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// TestSharpnessAgreesWithSharp compares the variance of the Laplacian with what sharp 0.35.5 (npm,
// Apache-2.0) computes of the same brightness. It looks at the outermost samples too, which we
// leave out, so the two differ a little.
func TestSharpnessAgreesWithSharp(t *testing.T) {
	t.Parallel()
	folder := filepath.Join("..", "..", ".ci", "oracles", "photos")
	if _, err := os.Stat(filepath.Join(folder, "node_modules")); err != nil {
		t.Skip("NOT RUN: sharpness compared with sharp - npm ci --prefix .ci/oracles/photos")
	}
	if _, err := exec.LookPath("node"); err != nil {
		t.Skip("NOT RUN: sharpness compared with sharp (no node) - sh .ci/install")
	}
	crisp := lumaOf(t, fixture(t, "star-break-before.jpg"))
	for name, luma := range map[string]plane{"as taken": crisp, "out of focus": blurred(crisp, 3),
		"of noise": {noise(90_000), 300, 300, 300}} {
		var grey bytes.Buffer
		for y := range luma.height {
			grey.Write(luma.row(y))
		}
		node := exec.CommandContext(t.Context(), "node", "sharpness.mjs", strconv.Itoa(luma.width), strconv.Itoa(luma.height))
		node.Dir, node.Stdin, node.Stderr = folder, &grey, os.Stderr
		out, err := node.Output()
		if err != nil {
			t.Fatal(err)
		}
		var want float64
		if _, err := fmt.Sscan(string(out), &want); err != nil {
			t.Fatalf("sharp answered %q: %v", out, err)
		}
		got := math.Sqrt(float64(laplacianVariance(luma, 0, 0, luma.width, luma.height)))
		if math.Abs(got-want) > 0.02*want+0.5 {
			t.Errorf("a photo %s: the Laplacian deviates by %.2f, sharp says %.2f", name, got, want)
		}
	}
}

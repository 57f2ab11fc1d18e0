//go:build !demo

package outbound

import (
	"os/exec"
	"strings"
	"testing"
)

// TestTheDemoBuildToo runs the tests of the other build of this package, which no test of this one can
// see: it opens loopback, says so, and opens nothing else.
func TestTheDemoBuildToo(t *testing.T) {
	t.Parallel()
	out, err := exec.CommandContext(t.Context(), "go", "test", "-tags", "demo", "-count=1", "-v", "-run", "^TestDemoBuild", ".").CombinedOutput()
	if n := strings.Count(string(out), "--- PASS: TestDemoBuild"); err != nil || n != 2 {
		t.Errorf("%v, %d tests passed, want 2:\n%s", err, n, out)
	}
}

package adapters_test

import (
	"testing"

	"cullet/adapters"
)

// TestNamesAreUnique: a profile and a caller name a format by its name, so no two may share one.
func TestNamesAreUnique(t *testing.T) {
	t.Parallel()
	formats, remittances := map[string]bool{}, map[string]bool{}
	for _, f := range adapters.Formats() {
		if f.Name() == "" || formats[f.Name()] {
			t.Errorf("claim format %q is empty or there twice", f.Name())
		}
		formats[f.Name()] = true
	}
	for _, f := range adapters.RemittanceFormats() {
		if f.Name() == "" || remittances[f.Name()] {
			t.Errorf("remittance format %q is empty or there twice", f.Name())
		}
		remittances[f.Name()] = true
	}
	if !formats["json"] || !remittances["csv"] {
		t.Errorf("got claim formats %v and remittance formats %v", formats, remittances)
	}
	intakes := map[string]bool{}
	for _, f := range adapters.Intakes() {
		if f.Name() == "" || intakes[f.Name()] {
			t.Errorf("intake format %q is empty or there twice", f.Name())
		}
		intakes[f.Name()] = true
	}
	if !intakes["csv"] || !intakes["jsonlines"] {
		t.Errorf("got intake formats %v", intakes)
	}
	channels := map[string]bool{}
	for _, c := range adapters.Channels(adapters.ChannelOptions{Folders: t.TempDir()}) {
		if c.Name() == "" || channels[c.Name()] {
			t.Errorf("channel %q is empty or there twice", c.Name())
		}
		channels[c.Name()] = true
	}
	if !channels["https"] || !channels["folder"] || !channels["sftp"] {
		t.Errorf("got channels %v", channels)
	}
	if got := len(adapters.Channels(adapters.ChannelOptions{})); got != 2 {
		t.Errorf("without a root of folders there are %d channels, want https and sftp", got)
	}
}

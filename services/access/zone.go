package access

import (
	"sync"
	"time"
)

// zones is the table of the zones that were read: time.LoadLocation opens a file each time, which
// costs more than pricing and taxing a claim. Names that are not known are not kept, so it never
// grows beyond the machine's own table.
var zones sync.Map

// Zone gives the time zone of an IANA name; UTC when the name is not known to this machine.
func Zone(name string) *time.Location {
	if known, ok := zones.Load(name); ok {
		return known.(*time.Location)
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	zones.Store(name, zone)
	return zone
}

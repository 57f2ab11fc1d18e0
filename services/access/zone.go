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
	if zone, ok := ParseZone(name); ok {
		return zone
	}
	return time.UTC
}

// ParseZone gives the time zone of an IANA name; ok is false when the name is not known to this
// machine, and for the empty name and "Local", which name no place.
func ParseZone(name string) (zone *time.Location, ok bool) {
	if known, ok := zones.Load(name); ok {
		return known.(*time.Location), true
	}
	if name == "" || name == "Local" {
		return nil, false
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil, false
	}
	zones.Store(name, zone)
	return zone, true
}

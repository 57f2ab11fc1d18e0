package jobsrpc_test

import (
	"slices"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// fault is one thing that can be wrong with a record, by a name that stays.
type fault struct {
	name string
	// change makes it in a sound request.
	change func(*jobsv1.RecordJobRequest)
	// want are the faults of the answer, "record.vehicle.vin VIN_LENGTH".
	want []string
	// touches are the paths, without "record.", that the change or its rule concerns. Two faults may stand
	// in one record when neither touches what the other does, nor anything within.
	touches []string
}

// catalogue is every fault. To add one, put a row into the family that it belongs to: the tests apply
// it alone, over gRPC and JSON, and mix it with others.
func catalogue() []fault {
	all := slices.Concat(textFaults(), numberFaults(), enumFaults(), timeFaults(), missingFaults(),
		listFaults(), strangeFaults(), vinFaults(), formFaults(), referenceFaults(), contradictions())
	slices.SortFunc(all, func(a, b fault) int { return strings.Compare(a.name, b.name) })
	return all
}

// broken is a fault with one expected answer at a path of the record; it touches that path and what else
// is named.
func broken(name, path, reason string, change func(*jobsv1.RepairRecord), touches ...string) fault {
	return fault{name: name, change: func(r *jobsv1.RecordJobRequest) { change(r.Record) },
		want: []string{"record." + path + " " + reason}, touches: append(touches, path)}
}

// and adds an answer to a fault that is two at once.
func (f fault) and(path, reason string) fault {
	f.want, f.touches = append(f.want, "record."+path+" "+reason), append(f.touches, path)
	return f
}

// nameOf writes a path as the begin of a name: damages[0].process.reason is process-reason.
func nameOf(path string) string {
	path = strings.NewReplacer("damages[0].", "", "damages[1].", "second-", "photos[0].", "photo-", "[", "-", "]", "").Replace(path)
	return strings.NewReplacer(".", "-", "_", "-").Replace(path)
}

// ofRequest begins the paths that lie beside the record.
const ofRequest = "request:"

// within tells whether a path is another or lies in it; the record itself has the empty path.
func within(path, other string) bool {
	if other == "" {
		return !strings.HasPrefix(path, ofRequest)
	}
	return path == other || strings.HasPrefix(path, other) && strings.ContainsRune(".[", rune(path[len(other)]))
}

// fits tells whether both faults may stand in one record.
func (f fault) fits(other fault) bool {
	for _, a := range f.touches {
		for _, b := range other.touches {
			if within(a, b) || within(b, a) {
				return false
			}
		}
	}
	return true
}

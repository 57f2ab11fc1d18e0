package jobsrpc_test

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// missingFaults are what has to be there and is not.
func missingFaults() []fault {
	const required = "REQUIRED"
	gone := func(path string, change func(*jobsv1.RepairRecord), touches ...string) fault {
		return broken(nameOf(path)+"-missing", path, required, change, touches...)
	}
	return []fault{
		gone("external_reference", func(m *jobsv1.RepairRecord) { m.ExternalReference = "" }),
		gone("vehicle", func(m *jobsv1.RepairRecord) { m.Vehicle = nil }),
		gone("vehicle.vin", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "" }),
		gone("damages", func(m *jobsv1.RepairRecord) { m.Damages = nil }, "photos"),
		gone("damages[0].kind", func(m *jobsv1.RepairRecord) { m.Damages[0].Kind = 0 }),
		gone("damages[0].outcome", func(m *jobsv1.RepairRecord) { m.Damages[0].Outcome = 0 }),
		broken("damage-that-says-nothing", "damages[1].kind", required,
			func(m *jobsv1.RepairRecord) { m.Damages[1] = &jobsv1.Damage{} }, "damages[1]").and("damages[1].outcome", required),
		gone("damages[0].place.from_driver_edge_mm", func(m *jobsv1.RepairRecord) { m.Damages[0].Place.FromDriverEdgeMm = nil }, "damages[0].place"),
		gone("damages[0].place.from_lower_edge_mm", func(m *jobsv1.RepairRecord) { m.Damages[0].Place.FromLowerEdgeMm = nil }, "damages[0].place"),
		gone("place_of_repair", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair = nil }),
		gone("place_of_repair.latitude_degrees", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.LatitudeDegrees = nil }, "place_of_repair.longitude_degrees"),
		gone("place_of_repair.longitude_degrees", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.LongitudeDegrees = nil }, "place_of_repair.latitude_degrees"),
		gone("place_of_repair.address", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address = nil }),
		broken("place-of-repair-address-that-says-nothing", "place_of_repair.address", required,
			func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address = &accessv1.Address{} }),
		gone("place_of_repair.address.country_code", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address.CountryCode = "" }),
		gone("place_of_repair.address.state", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address.State = "" }, "place_of_repair.address.country_code"),
		broken("place-of-repair-address-state-missing-in-canada", "place_of_repair.address.state", required,
			func(m *jobsv1.RepairRecord) {
				m.PlaceOfRepair.Address.State, m.PlaceOfRepair.Address.CountryCode = "", "CA"
			}, "place_of_repair.address.country_code"),
		gone("start_time", func(m *jobsv1.RepairRecord) { m.StartTime = nil }),
		gone("finish_time", func(m *jobsv1.RepairRecord) { m.FinishTime = nil }),
		gone("time_zone", func(m *jobsv1.RepairRecord) { m.TimeZone = "" }),
		gone("technician", func(m *jobsv1.RepairRecord) { m.Technician = "" }),
		gone("photos[0].photo_hash", func(m *jobsv1.RepairRecord) { m.Photos[0].PhotoHash = "" }),
		gone("photos[0].kind", func(m *jobsv1.RepairRecord) { m.Photos[0].Kind = 0 }),
		broken("photo-that-says-nothing", "photos[1].photo_hash", required,
			func(m *jobsv1.RepairRecord) { m.Photos[1] = &jobsv1.PhotoReference{} }, "photos[1]").and("photos[1].kind", required),
		gone("coverage.deductible.currency_code", func(m *jobsv1.RepairRecord) { m.Coverage.Deductible.CurrencyCode = "" }).as("CURRENCY"),
		gone("work_authorization.signed_by", func(m *jobsv1.RepairRecord) { m.WorkAuthorization.SignedBy = "" }, "work_authorization.sign_time"),
		gone("payment_authorization.signed_by", func(m *jobsv1.RepairRecord) { m.PaymentAuthorization.SignedBy = "" }, "payment_authorization.sign_time"),
		{name: "record-missing", change: func(r *jobsv1.RecordJobRequest) { r.Record = nil }, want: []string{"record REQUIRED"}, touches: []string{""}},
	}
}

// as changes the reason of a fault with one answer.
func (f fault) as(reason string) fault {
	path, _, _ := strings.Cut(f.want[0], " ")
	f.want = []string{path + " " + reason}
	return f
}

// listFaults are lists with one item too many, and lists without end.
func listFaults() []fault {
	damages := func(n int) func(*jobsv1.RepairRecord) {
		return func(m *jobsv1.RepairRecord) { more(m, n) }
	}
	cycles := func(n int) []int32 {
		all := make([]int32, n)
		for i := range all {
			all[i] = 90
		}
		return all
	}
	// What is wrong with the damages is told beside there being too many of them.
	tooMany := broken("damages-one-too-many", "damages", "TOO_LARGE", damages(21))
	tooMany.touches = []string{"damages.count", "photos"}
	return []fault{
		tooMany,
		broken("damages-without-end", "damages", "TOO_MANY", damages(1001), "photos"),
		broken("photos-without-end", "photos", "TOO_MANY", func(m *jobsv1.RepairRecord) {
			for i := range 1001 {
				m.Photos = append(m.Photos, named(fmt.Sprintf("%064x", i), 0))
			}
		}),
		broken("vacuum-cycles-one-too-many", "damages[0].process.vacuum_seconds", "TOO_LARGE",
			func(m *jobsv1.RepairRecord) { m.Damages[0].Process.VacuumSeconds = cycles(51) }),
		broken("vacuum-cycles-without-end", "damages[0].process.vacuum_seconds", "TOO_MANY",
			func(m *jobsv1.RepairRecord) { m.Damages[0].Process.VacuumSeconds = cycles(1001) }),
		broken("pressure-cycles-one-too-many", "damages[0].process.pressure_seconds", "TOO_LARGE",
			func(m *jobsv1.RepairRecord) { m.Damages[0].Process.PressureSeconds = cycles(51) }),
		broken("pressure-cycles-without-end", "damages[0].process.pressure_seconds", "TOO_MANY",
			func(m *jobsv1.RepairRecord) { m.Damages[0].Process.PressureSeconds = cycles(1001) }),
	}
}

// strangeFaults are fields that the contract does not know, in each message of a record, and what is
// wrong with the request around it.
func strangeFaults() (all []fault) {
	const number = 99
	stranger := protoreflect.RawFields(protowire.AppendVarint(protowire.AppendTag(nil, number, protowire.VarintType), 7))
	for path, names := range map[string][]protoreflect.Name{
		"": nil, "vehicle": {"vehicle"}, "glass": {"glass"}, "damages[0]": {"damages"}, "damages[0].process": {"damages", "process"},
		"damages[0].place": {"damages", "place"}, "place_of_repair": {"place_of_repair"}, "place_of_repair.address": {"place_of_repair", "address"},
		"photos[0]": {"photos"}, "motorist": {"motorist"}, "motorist.address": {"motorist", "address"}, "coverage": {"coverage"},
		"coverage.deductible": {"coverage", "deductible"}, "coverage.authorization": {"coverage", "authorization"},
		"work_authorization": {"work_authorization"}, "payment_authorization": {"payment_authorization"},
	} {
		at := strings.TrimPrefix(path+".#99", ".")
		all = append(all, broken("unknown-field-in-record-"+path, at, "UNKNOWN_FIELD",
			func(m *jobsv1.RepairRecord) { part(m, names...).SetUnknown(stranger) }))
	}
	ask := func(name, path, reason string, change func(*jobsv1.RecordJobRequest)) {
		all = append(all, fault{name: name, change: change, want: []string{path + " " + reason}, touches: []string{ofRequest + path}})
	}
	ask("unknown-field-in-request", "#99", "UNKNOWN_FIELD", func(r *jobsv1.RecordJobRequest) { r.ProtoReflect().SetUnknown(stranger) })
	ask("request-id-one-character-too-long", "request_id", "TOO_LONG", func(r *jobsv1.RecordJobRequest) { r.RequestId = strings.Repeat("r", 65) })
	for name, id := range map[string]string{"space": "r 1", "quote": `r"1`, "nul": "r\x00", "letter-of-another-alphabet": "ж1", "line-break": "r\n1"} {
		ask("request-id-with-"+name, "request_id", "UNWANTED_CHARACTER", func(r *jobsv1.RecordJobRequest) { r.RequestId = id })
	}
	return all
}

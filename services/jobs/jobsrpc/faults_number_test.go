package jobsrpc_test

import (
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/money"
)

// decimalField is one double of a record with the first value below and above what is allowed.
type decimalField struct {
	path         string
	at           func(*jobsv1.RepairRecord) **float64
	below, above float64
	// reason is what either is refused with.
	reason string
	// finer is a value with a digit too many; 0 where any number of digits is taken.
	finer float64
	// within is what its bound depends on.
	within string
}

func decimals() []decimalField {
	const length, glass, outside, far = "DAMAGE_LENGTH_RANGE", "GLASS_LENGTH_RANGE", "DAMAGE_OUTSIDE_GLASS", "OUT_OF_RANGE"
	return []decimalField{
		{"damages[0].body_diameter_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].BodyDiameterMm }, 0, 4000.01, length, 6.125, ""},
		{"damages[0].spread_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].SpreadMm }, 0, 4000.01, length, 38.255, ""},
		{"damages[0].crack_length_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].CrackLengthMm }, 0, 4000.01, length, 38.255, ""},
		{"damages[0].pit_diameter_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].PitDiameterMm }, 0, 4000.01, length, 2.501, ""},
		{"damages[0].pit_depth_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].PitDepthMm }, 0, 4000.01, length, 0.501, ""},
		{"damages[0].finished_pit_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].FinishedPitMm }, -0.01, 4000.01, length, 1.001, ""},
		{"damages[0].edge_distance_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].EdgeDistanceMm }, -0.01, 4000.01, length, 310.001, ""},
		{"damages[0].repair_distance_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].RepairDistanceMm }, -0.01, 4000.01, length, 99.999, ""},
		{"damages[0].place.from_driver_edge_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].Place.FromDriverEdgeMm }, -0.01, 1480.01, outside, 9.125, "glass.width_mm"},
		{"damages[0].place.from_lower_edge_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].Place.FromLowerEdgeMm }, -0.01, 820.01, outside, 9.125, "glass.height_mm"},
		{"damages[0].process.glass_temperature_c", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].Process.GlassTemperatureC }, -1000.1, 1000.1, far, 21.25, ""},
		{"damages[0].process.drill_depth_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Damages[0].Process.DrillDepthMm }, -10000.01, 10000.01, far, 0.505, ""},
		{"glass.width_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Glass.WidthMm }, 0.99, 4000.01, glass, 1480.125, ""},
		{"glass.height_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Glass.HeightMm }, 0.99, 4000.01, glass, 820.125, ""},
		{"glass.steering_centre_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Glass.SteeringCentreMm }, -0.01, 4000.01, glass, 380.125, ""},
		{"glass.wiper_top_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Glass.WiperTopMm }, -0.01, 4000.01, glass, 610.125, ""},
		{"glass.steering_top_mm", func(m *jobsv1.RepairRecord) **float64 { return &m.Glass.SteeringTopMm }, -0.01, 4000.01, glass, 120.125, ""},
		{"place_of_repair.latitude_degrees", func(m *jobsv1.RepairRecord) **float64 { return &m.PlaceOfRepair.LatitudeDegrees }, -90.000001, 90.000001, far, 0, ""},
		{"place_of_repair.longitude_degrees", func(m *jobsv1.RepairRecord) **float64 { return &m.PlaceOfRepair.LongitudeDegrees }, -180.000001, 180.000001, far, 0, ""},
	}
}

// wholeField is one whole number of a record with what is allowed.
type wholeField struct {
	path        string
	set         func(*jobsv1.RepairRecord, int64)
	least, most int64
	below       string
	above       string
}

func wholes() []wholeField {
	const count = "DAMAGE_COUNT_RANGE"
	return []wholeField{
		{"vehicle.odometer_km", func(m *jobsv1.RepairRecord, n int64) { m.Vehicle.OdometerKm = int32(n) }, 0, 10_000_000, "TOO_SMALL", "TOO_LARGE"},
		{"vehicle.model_year", func(m *jobsv1.RepairRecord, n int64) { m.Vehicle.ModelYear = int32(n) }, 0, 2100, "TOO_SMALL", "TOO_LARGE"},
		{"glass.earlier_repair_count", func(m *jobsv1.RepairRecord, n int64) { m.Glass.EarlierRepairCount = proto.Int32(int32(n)) }, 0, 100, count, count},
		{"damages[1].edges_touched", func(m *jobsv1.RepairRecord, n int64) { m.Damages[1].EdgesTouched = proto.Int32(int32(n)) }, 0, 100, count, count},
		{"damages[0].leg_count", func(m *jobsv1.RepairRecord, n int64) { m.Damages[0].LegCount = proto.Int32(int32(n)) }, 0, 100, count, count},
		{"damages[0].long_leg_count", func(m *jobsv1.RepairRecord, n int64) { m.Damages[0].LongLegCount = proto.Int32(int32(n)) }, 0, 100, count, count},
		{"damages[0].age_days", func(m *jobsv1.RepairRecord, n int64) { m.Damages[0].AgeDays = proto.Int32(int32(n)) }, 0, 36_500, count, count},
		{"photos[0].damage_number", func(m *jobsv1.RepairRecord, n int64) { m.Photos[0].DamageNumber = int32(n) }, 0, 20, "TOO_SMALL", "TOO_LARGE"},
		{"coverage.authorization.repairs_allowed", func(m *jobsv1.RepairRecord, n int64) { m.Coverage.Authorization.RepairsAllowed = int32(n) }, 0, 100, "TOO_SMALL", "TOO_LARGE"},
		{"coverage.deductible.minor_units", func(m *jobsv1.RepairRecord, n int64) { m.Coverage.Deductible.MinorUnits = n }, 0, money.Max, "TOO_SMALL", "TOO_LARGE"},
	}
}

func numberFaults() (all []fault) {
	for _, field := range decimals() {
		name := nameOf(field.path)
		put := func(kind, reason string, value float64) {
			touches := []string{}
			if field.within != "" {
				touches = append(touches, field.within)
			}
			all = append(all, broken(name+"-"+kind, field.path, reason,
				func(m *jobsv1.RepairRecord) { *field.at(m) = &value }, touches...))
		}
		put("not-a-number", "NOT_A_NUMBER", math.NaN())
		put("infinite", "NOT_A_NUMBER", math.Inf(1))
		put("too-small", field.reason, field.below)
		put("too-large", field.reason, field.above)
		put("beyond-all-belief", "OUT_OF_RANGE", -1e300)
		if field.finer != 0 {
			put("too-precise", "TOO_PRECISE", field.finer)
		}
	}
	for _, field := range wholes() {
		name := nameOf(field.path)
		all = append(all, broken(name+"-below-zero", field.path, field.below, func(m *jobsv1.RepairRecord) { field.set(m, field.least-1) }),
			broken(name+"-over-the-bound", field.path, field.above, func(m *jobsv1.RepairRecord) { field.set(m, field.most+1) }))
	}
	return append(all,
		broken("coverage-deductible-minor-units-least-of-64-bits", "coverage.deductible.minor_units", "TOO_SMALL",
			func(m *jobsv1.RepairRecord) { m.Coverage.Deductible.MinorUnits = math.MinInt64 }),
		broken("coverage-deductible-minor-units-most-of-64-bits", "coverage.deductible.minor_units", "TOO_LARGE",
			func(m *jobsv1.RepairRecord) { m.Coverage.Deductible.MinorUnits = math.MaxInt64 }))
}

// part gives a message of the record by the names of its fields; lists by their first item.
func part(m *jobsv1.RepairRecord, names ...protoreflect.Name) protoreflect.Message {
	here := m.ProtoReflect()
	for _, name := range names {
		fd := here.Descriptor().Fields().ByName(name)
		if fd.IsList() {
			here = here.Get(fd).List().Get(0).Message()
		} else {
			here = here.Mutable(fd).Message()
		}
	}
	return here
}

// enumFaults are numbers that no enum has.
func enumFaults() (all []fault) {
	for _, field := range []struct {
		path  string
		names []protoreflect.Name
	}{
		{"glass.", []protoreflect.Name{"glass", "driver_side"}}, {"glass.", []protoreflect.Name{"glass", "has_driver_assistance"}},
		{"glass.", []protoreflect.Name{"glass", "is_sold_already"}}, {"damages[0].", []protoreflect.Name{"damages", "kind"}},
		{"damages[0].", []protoreflect.Name{"damages", "outcome"}}, {"damages[0].", []protoreflect.Name{"damages", "layer"}},
		{"damages[0].", []protoreflect.Name{"damages", "contamination"}}, {"damages[0].", []protoreflect.Name{"damages", "cause"}},
		{"damages[0].", []protoreflect.Name{"damages", "is_in_camera_area"}}, {"damages[0].", []protoreflect.Name{"damages", "is_over_feature"}},
		{"photos[0].", []protoreflect.Name{"photos", "kind"}}, {"coverage.", []protoreflect.Name{"coverage", "deductible_basis"}},
	} {
		path := field.path + string(field.names[1])
		for kind, number := range map[string]protoreflect.EnumNumber{"that-nobody-defined": 99, "below-zero": -1} {
			all = append(all, broken(nameOf(path)+"-"+kind, path, "UNKNOWN_VALUE", func(m *jobsv1.RepairRecord) {
				in := part(m, field.names[0])
				in.Set(in.Descriptor().Fields().ByName(field.names[1]), protoreflect.ValueOfEnum(number))
			}))
		}
	}
	return all
}

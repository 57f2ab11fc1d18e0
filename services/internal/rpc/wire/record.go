package wire

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/jobs"
	"cullet/services/vin"
)

// FromRecord gives the record of a message, with a fault for each value that cannot be taken over
// exactly; such a value is missing then. Paths begin with "record.". The vehicle's number is in
// its canonical form where it has one. What else may be wrong with the record is told by
// rpc.Validate and jobs.Check.
func FromRecord(m *jobsv1.RepairRecord) (jobs.Record, []errs.Field) {
	r := newReader("record.")
	vehicle := m.GetVehicle()
	start, finish := r.time("start_time", m.GetStartTime()), r.time("finish_time", m.GetFinishTime())
	record := jobs.Record{
		ExternalReference: m.GetExternalReference(),
		Vehicle:           fromVehicle(vehicle, finish),
		Glass:             r.glass(m.GetGlass(), vehicle.GetIsCommercial()),
		Damages:           r.damages(m.GetDamages()),
		Place:             r.placeOfRepair(m.GetPlaceOfRepair()),
		StartTime:         start, FinishTime: finish, TimeZone: m.GetTimeZone(), Technician: m.GetTechnician(),
		Photos: fromPhotoReferences(m.GetPhotos(), finish),
		Motorist: jobs.Motorist{CustomerID: canonicalID[ident.Customer](m.GetMotorist().GetCustomerId()),
			Name: m.GetMotorist().GetName(), Telephone: m.GetMotorist().GetTelephone(),
			Email: m.GetMotorist().GetEmail(), Address: FromAddress(m.GetMotorist().GetAddress())},
		Coverage:             FromCoverage(m.GetCoverage()),
		WorkAuthorization:    r.signature("work_authorization.", m.GetWorkAuthorization()),
		PaymentAuthorization: r.signature("payment_authorization.", m.GetPaymentAuthorization()),
		WarrantyOf:           canonicalID[ident.Job](m.GetWarrantyOfJobId()),
	}
	return record, append(r.faults, CheckMoney("record.coverage.deductible", m.GetCoverage().GetDeductible(), "")...)
}

// fromVehicle gives the number without spaces and in capitals; one that holds more than that to mend
// stays as it was given, to be refused by jobs.Check.
func fromVehicle(m *jobsv1.Vehicle, on time.Time) jobs.Vehicle {
	v := jobs.Vehicle{VIN: m.GetVin(), Plate: m.GetPlate(), PlateRegion: m.GetPlateRegion(), UnitNumber: m.GetUnitNumber(),
		IsCommercial: m.GetIsCommercial(), OdometerKM: int(m.GetOdometerKm()), ModelYear: int(m.GetModelYear()),
		IsForNorthAmerica: m.GetIsForNorthAmerica()}
	v.VIN = canonicalVIN(v.VIN, v.Said(on))
	return v
}

func canonicalVIN(text string, said vin.Said) string {
	if number, _ := vin.Check(text, said); number != "" {
		return string(number)
	}
	return text
}

// time gives the zero time for one that is none, which is told by the guard.
func (r *reader) time(name string, m *timestamppb.Timestamp) time.Time {
	if m == nil {
		return time.Time{}
	}
	if m.CheckValid() != nil {
		r.fault(name, "NOT_A_TIME", "it is no time; allowed are the years 1 to 9999")
		return time.Time{}
	}
	return FromTime(m)
}

func (r *reader) placeOfRepair(m *jobsv1.PlaceOfRepair) jobs.Place {
	if m == nil {
		return jobs.Place{}
	}
	r.part = "place_of_repair."
	defer func() { r.part = "" }()
	place := jobs.Place{IsMobile: m.GetIsMobile(), Address: FromAddress(m.GetAddress())}
	const missing = "nothing was given and the other coordinate was; a place needs both, or leave both out"
	north, east := r.degrees("latitude_degrees", m.LatitudeDegrees, 90), r.degrees("longitude_degrees", m.LongitudeDegrees, 180)
	switch {
	case north != nil && east != nil:
		place.Position = &jobs.Position{LatitudeMicrodegrees: *north, LongitudeMicrodegrees: *east}
	case m.LatitudeDegrees == nil && m.LongitudeDegrees != nil:
		r.fault("latitude_degrees", "REQUIRED", missing)
	case m.LatitudeDegrees != nil && m.LongitudeDegrees == nil:
		r.fault("longitude_degrees", "REQUIRED", missing)
	}
	return place
}

func fromPhotoReferences(messages []*jobsv1.PhotoReference, on time.Time) []jobs.PhotoReference {
	if len(messages) == 0 {
		return nil
	}
	all := make([]jobs.PhotoReference, len(messages))
	for i, m := range messages {
		all[i] = jobs.PhotoReference{Hash: jobs.PhotoHash(m.GetPhotoHash()),
			Kind: Word[jobs.PhotoKind](photoPrefix, m.GetKind()), DamageNumber: int(m.GetDamageNumber()),
			PlateVIN: canonicalVIN(m.GetPlateVin(), vin.Said{On: on})}
	}
	return all
}

func (r *reader) signature(part string, m *jobsv1.SignedAuthorization) jobs.Signature {
	if m == nil {
		return jobs.Signature{}
	}
	r.part = part
	defer func() { r.part = "" }()
	return jobs.Signature{SignedBy: m.GetSignedBy(), SignTime: r.time("sign_time", m.GetSignTime())}
}

// ToRecord gives a record as a message. Of a record that FromRecord gave without a fault it is the
// message again, but that the vehicle's number is canonical, times are cut to microseconds,
// coordinates to millionths of a degree, and parts that say nothing are missing.
func ToRecord(r *jobs.Record) *jobsv1.RepairRecord {
	message := &jobsv1.RepairRecord{
		ExternalReference: r.ExternalReference,
		Vehicle: &jobsv1.Vehicle{Vin: r.Vehicle.VIN, Plate: r.Vehicle.Plate, PlateRegion: r.Vehicle.PlateRegion,
			UnitNumber: r.Vehicle.UnitNumber, IsCommercial: r.Vehicle.IsCommercial, OdometerKm: int32(r.Vehicle.OdometerKM),
			ModelYear: int32(r.Vehicle.ModelYear), IsForNorthAmerica: r.Vehicle.IsForNorthAmerica},
		Glass: toGlass(r.Glass), Damages: toDamages(r.Damages),
		PlaceOfRepair: &jobsv1.PlaceOfRepair{IsMobile: r.Place.IsMobile, Address: ToAddress(r.Place.Address)},
		StartTime:     ToTime(r.StartTime), FinishTime: ToTime(r.FinishTime), TimeZone: r.TimeZone,
		Technician: r.Technician, Motorist: toMotorist(r.Motorist), WorkAuthorization: toSignature(r.WorkAuthorization),
		PaymentAuthorization: toSignature(r.PaymentAuthorization), WarrantyOfJobId: string(r.WarrantyOf),
	}
	if p := r.Place.Position; p != nil {
		message.PlaceOfRepair.LatitudeDegrees = new(float64(p.LatitudeMicrodegrees) / 1e6)
		message.PlaceOfRepair.LongitudeDegrees = new(float64(p.LongitudeMicrodegrees) / 1e6)
	}
	if coverage := ToCoverage(r.Coverage); hasFields(coverage) {
		message.Coverage = coverage
	}
	for _, p := range r.Photos {
		message.Photos = append(message.Photos, &jobsv1.PhotoReference{PhotoHash: string(p.Hash),
			Kind: Value[jobsv1.PhotoKind](jobsv1.PhotoKind_value, photoPrefix, p.Kind), DamageNumber: int32(p.DamageNumber),
			PlateVin: p.PlateVIN})
	}
	return message
}

func toMotorist(m jobs.Motorist) *jobsv1.Motorist {
	if m == (jobs.Motorist{}) {
		return nil
	}
	return &jobsv1.Motorist{CustomerId: string(m.CustomerID), Name: m.Name, Telephone: m.Telephone, Email: m.Email,
		Address: ToAddress(m.Address)}
}

func toSignature(s jobs.Signature) *jobsv1.SignedAuthorization {
	if s == (jobs.Signature{}) {
		return nil
	}
	return &jobsv1.SignedAuthorization{SignedBy: s.SignedBy, SignTime: ToTime(s.SignTime)}
}

package jobsrpc_test

import (
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// contradictions are values of which each could be right, but not beside the other.
func contradictions() []fault {
	const damage, glass = "DAMAGE_CONTRADICTION", "GLASS_CONTRADICTION"
	mm := proto.Float64
	return []fault{
		broken("damage-body-wider-than-its-spread", "damages[0].body_diameter_mm", damage,
			func(m *jobsv1.RepairRecord) { m.Damages[0].BodyDiameterMm = mm(38.26) }, "damages[0].spread_mm", "damages[0].pit_diameter_mm"),
		broken("damage-pit-wider-than-its-body", "damages[0].pit_diameter_mm", damage,
			func(m *jobsv1.RepairRecord) { m.Damages[0].PitDiameterMm = mm(6.01) }, "damages[0].body_diameter_mm", "damages[0].spread_mm"),
		broken("damage-pit-wider-than-a-spread-without-body", "damages[0].pit_diameter_mm", damage, func(m *jobsv1.RepairRecord) {
			m.Damages[0].PitDiameterMm, m.Damages[0].BodyDiameterMm = mm(38.26), nil
		}, "damages[0].body_diameter_mm", "damages[0].spread_mm", "damages[0].kind"),
		broken("damage-more-long-legs-than-legs", "damages[0].long_leg_count", damage,
			func(m *jobsv1.RepairRecord) { m.Damages[0].LongLegCount = proto.Int32(6) }, "damages[0].leg_count"),
		broken("damage-long-legs-and-no-legs", "damages[0].long_leg_count", damage,
			func(m *jobsv1.RepairRecord) {
				m.Damages[0].LegCount, m.Damages[0].LongLegCount = proto.Int32(0), proto.Int32(1)
			}, "damages[0].leg_count"),
		broken("damage-away-from-the-edge-and-at-it", "damages[0].edge_distance_mm", damage,
			func(m *jobsv1.RepairRecord) { m.Damages[0].EdgesTouched = proto.Int32(1) }, "damages[0].edges_touched"),
		broken("damage-beside-a-narrower-glass", "damages[1].place.from_driver_edge_mm", "DAMAGE_OUTSIDE_GLASS",
			func(m *jobsv1.RepairRecord) { m.Glass.WidthMm = mm(1000) }, "glass.width_mm", "glass.steering_centre_mm", "damages[0].place"),
		broken("damage-above-a-lower-glass", "damages[1].place.from_lower_edge_mm", "DAMAGE_OUTSIDE_GLASS",
			func(m *jobsv1.RepairRecord) { m.Glass.HeightMm = mm(650) }, "glass.height_mm", "glass.wiper_top_mm", "glass.steering_top_mm", "damages[0].place"),
		broken("damage-of-a-glass-without-width-beyond-any", "damages[1].place.from_driver_edge_mm", "DAMAGE_OUTSIDE_GLASS", func(m *jobsv1.RepairRecord) {
			m.Glass.WidthMm, m.Damages[1].Place.FromDriverEdgeMm = nil, mm(4000.01)
		}, "glass.width_mm", "glass.steering_centre_mm", "damages[0].place"),
		broken("glass-wiper-higher-than-the-glass", "glass.wiper_top_mm", glass,
			func(m *jobsv1.RepairRecord) { m.Glass.WiperTopMm = mm(820.01) }, "glass.height_mm"),
		broken("glass-steering-wheel-higher-than-the-glass", "glass.steering_top_mm", glass,
			func(m *jobsv1.RepairRecord) { m.Glass.SteeringTopMm = mm(820.01) }, "glass.height_mm"),
		broken("glass-steering-wheel-beside-the-glass", "glass.steering_centre_mm", glass,
			func(m *jobsv1.RepairRecord) { m.Glass.SteeringCentreMm = mm(1480.01) }, "glass.width_mm"),
	}
}

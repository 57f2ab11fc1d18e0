package invent

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

var technicians = []string{"Tobin Ashlock", "Renata Quill"}

var firstNames = []string{"Odalys", "Brant", "Corliss", "Delphine", "Ewart", "Fenna", "Garrick", "Hollis", "Isolde", "Jorun",
	"Kesia", "Leopold", "Maren", "Nestor", "Ottilie", "Perrin", "Quentin", "Rosalba", "Sunniva", "Thaddeus",
	"Ulrika", "Viggo", "Wilhelmina", "Yorick", "Zelda", "Anselm", "Bettina", "Caspian", "Dorothea", "Emeric"}

var lastNames = []string{"Fennimore", "Kessling", "Ardenfield", "Bramwhistle", "Coldwater", "Dunnigrove", "Eastlake", "Farnhollow",
	"Greywick", "Hathersby", "Inglebrook", "Jessamy", "Kettlewood", "Larkmoor", "Marrowby", "Northcairn", "Oakhurst-Pell",
	"Penhallow", "Quistgaard", "Ravenscote", "Saltmarsh", "Thistlewaite", "Underbough", "Vantongeren", "Wexcombe", "Yarrowdale"}

var streets = []string{"Larkmoor Street", "Cooper's Hollow Road", "Pennyroyal Avenue", "Old Quarry Lane", "Sycamore Bend",
	"Brickyard Row", "Tallow Street", "Millrace Drive", "Heronview Court", "Fiddlehead Way", "Lanternlight Road", "Gravel Pike"}

// spot is a town that the van goes to. Towns and counties exist, streets and people do not.
type spot struct {
	city, county, state, zip string
	area                     string
	latitude, longitude      float64
}

// The towns; their positions are rounded to a hundredth of a degree.
var (
	columbus    = spot{"Columbus", "Franklin", "OH", "43206", "614", 39.96, -83.00}
	groveCity   = spot{"Grove City", "Franklin", "OH", "43123", "614", 39.88, -83.09}
	gahanna     = spot{"Gahanna", "Franklin", "OH", "43230", "614", 40.02, -82.88}
	hilliard    = spot{"Hilliard", "Franklin", "OH", "43026", "614", 40.03, -83.16}
	london      = spot{"London", "Madison", "OH", "43140", "740", 39.89, -83.45}
	springfield = spot{"Springfield", "Clark", "OH", "45502", "937", 39.92, -83.81}
	dayton      = spot{"Dayton", "Montgomery", "OH", "45402", "937", 39.76, -84.19}
	circleville = spot{"Circleville", "Pickaway", "OH", "43113", "740", 39.60, -82.95}
	chillicothe = spot{"Chillicothe", "Ross", "OH", "45601", "740", 39.33, -82.98}
	cincinnati  = spot{"Cincinnati", "Hamilton", "OH", "45202", "513", 39.10, -84.51}
	covington   = spot{"Covington", "Kenton", "KY", "41011", "859", 39.08, -84.51}
	newport     = spot{"Newport", "Campbell", "KY", "41071", "859", 39.09, -84.49}
	florence    = spot{"Florence", "Boone", "KY", "41042", "859", 39.00, -84.63}
)

// place gives where the work was done: nothing but the position for work at the shop.
func (s spot) place(rng *rand.Rand) *jobsv1.PlaceOfRepair {
	if s.city == "" {
		return &jobsv1.PlaceOfRepair{LatitudeDegrees: proto.Float64(39.961176), LongitudeDegrees: proto.Float64(-82.998794)}
	}
	near := func(degrees float64) *float64 {
		return proto.Float64(float64(int((degrees+0.02*(rng.Float64()-0.5))*1e4)) / 1e4)
	}
	return &jobsv1.PlaceOfRepair{IsMobile: true, Address: s.address(rng),
		LatitudeDegrees: near(s.latitude), LongitudeDegrees: near(s.longitude)}
}

func (s spot) address(rng *rand.Rand) *accessv1.Address {
	return &accessv1.Address{Street: fmt.Sprintf("%d %s", 100+rng.IntN(1900), pick(rng, streets)), City: s.city,
		County: s.county, State: s.state, PostalCode: s.zip, CountryCode: "US"}
}

// motorist invents for whom the work was done.
func (d *draft) motorist() *jobsv1.Motorist {
	switch d.payer {
	case tannery:
		return &jobsv1.Motorist{Name: "Tannery Freight (invented), dispatch", Telephone: "614-555-0171",
			Email: "dispatch@tannery-freight.example"}
	case parks:
		return &jobsv1.Motorist{Name: "Franklin Parks District (invented), garage", Telephone: "614-555-0188",
			Email: "garage@franklin-parks.example"}
	}
	home := d.at
	if home.city == "" {
		home = columbus
	}
	first, last := pick(d.rng, firstNames), pick(d.rng, lastNames)
	mail := strings.ToLower(first + "." + strings.ReplaceAll(last, "-", ""))
	return &jobsv1.Motorist{Name: first + " " + last, Telephone: fmt.Sprintf("%s-555-01%02d", home.area, d.rng.IntN(100)),
		Email: mail + "@mail.example", Address: home.address(d.rng)}
}

func stamp(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }

package vin_test

import (
	"fmt"
	"time"

	"cullet/services/vin"
)

func ExampleParse() {
	on := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	number, findings := vin.Parse("sgzcz43d 13s-812715", on)
	fmt.Println(number)
	for _, f := range findings {
		fmt.Println(f.Code, f.Severity, "offer:", f.Suggestion)
	}
	number, findings = vin.Parse("5GZCZ43D13S812715", on)
	maker, _ := number.Maker()
	fmt.Println(len(findings), number.ModelYear(vin.Said{On: on}).Year, maker.Makes, maker.Vehicle)
	// Output:
	// SGZCZ43D13S812715
	// VIN-CHECK CAUTION offer: 5GZCZ43D13S812715
	// 0 2003 [Saturn] Multipurpose Passenger Vehicle (MPV)
}

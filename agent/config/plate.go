package config

import (
	"regexp"
	"time"
)

// Plate is what stands on a pack and in its papers. It is for people: no permit depends
// on it.
type Plate struct {
	Type   string `yaml:"type"`   // type designation, as on its plate
	Serial string `yaml:"serial"` // serial number, as on its plate
	// InService is the day on which it went into service, such as 2021-05-04.
	InService string `yaml:"in_service"`
	// WarrantyUntil is the last day of its warranty, such as 2026-05-03.
	WarrantyUntil string  `yaml:"warranty_until"`
	WeightKg      float64 `yaml:"weight_kg" accept:"1 to 10000 kg" default:""` // filled with electrolyte
	// NumberedFrom is the terminal from which the numbers marked on its cells count; left
	// out, it is not known. Everywhere else cell 1 is at the positive end.
	NumberedFrom string `yaml:"numbered_from" accept:"positive or negative" default:""`
	Plug         string `yaml:"plug"`         // connector, in words
	FitsCharger  string `yaml:"fits_charger"` // the charger that it takes, in words: voltage, current, curve
}

var plateForm = regexp.MustCompile(`^[\pL\pN\pP\pS]([\pL\pN\pP\pS ]{0,78}[\pL\pN\pP\pS])?$`)

// Dates of a plate that can be meant: a year with a slip in it is none.
var (
	firstDay = time.Date(1950, time.January, 1, 0, 0, 0, 0, time.UTC)
	lastDay  = time.Date(2099, time.December, 31, 0, 0, 0, 0, time.UTC)
)

// day reads a date of a plate.
func day(text string) (at time.Time, ok bool) {
	at, err := time.Parse(time.DateOnly, text)
	return at, err == nil && !at.Before(firstDay) && !at.After(lastDay)
}

// Days returns the dates of a plate as midnights in UTC, the zero time for one that is
// not known. The file has passed Parse.
func (p *Plate) Days() (inService, warrantyUntil time.Time) {
	inService, _ = day(p.InService)
	warrantyUntil, _ = day(p.WarrantyUntil)
	return inService, warrantyUntil
}

func (c packCheck) plate(field string, p *Plate) {
	for _, of := range [][2]string{{"type", p.Type}, {"serial", p.Serial}, {"plug", p.Plug}, {"fits_charger", p.FitsCharger}} {
		if at := field + "." + of[0]; c.present(at) && !c.bad[at] && !plateForm.MatchString(of[1]) {
			c.reject(at, say("must-be-as-on-the-plate"))
		}
	}
	from, to := field+".in_service", field+".warranty_until"
	began := c.day(from, p.InService)
	ends := c.day(to, p.WarrantyUntil)
	if c.present(from) && c.present(to) && c.usable(from, to) && ends.Before(began) {
		c.reject(to, say("must-not-be-before-in-service", p.InService))
	}
}

func (c packCheck) day(field, text string) time.Time {
	at, ok := day(text)
	if c.present(field) && !c.bad[field] && !ok {
		c.reject(field, say("must-be-a-day", firstDay.Format(time.DateOnly), lastDay.Format(time.DateOnly)))
	}
	return at
}

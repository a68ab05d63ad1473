package order

import (
	"fmt"
	"strconv"
	"strings"
)

// whys are the reasons of a refusal in English. [1] is the field, [2] its value,
// [3] what is accepted, [4] a person, a pack or a text.
var whys = [NumCodes]string{
	NoID:               "it has no ID",
	Repeated:           "an order with this ID was taken before",
	NoPerson:           "it names no person",
	NoSuchOrder:        "there is no such order",
	Missing:            "field %[1]s is missing: must be %[3]s",
	Stray:              "field %[1]s does not belong to this order",
	NothingSaid:        "it needs field %[1]s",
	OutOfRange:         "field %[1]s: value %[2]s is not accepted: must be %[3]s",
	BadText:            "field %[1]s: value %[4]s is not accepted: must be %[3]s",
	NoVisit:            "no visit is open",
	VisitIsOpen:        "a visit by %[4]s is open",
	PackUnknown:        "it is not known which pack this is; say it first",
	NoPack:             "no pack is connected",
	OnePack:            "this bay is there for pack %[4]s alone",
	NoSuchPack:         "this bay has no pack %[4]s",
	PackElsewhere:      "another bay has pack %[4]s: unplug it there, or take back there what was said",
	SensorsDisagree:    "the sensors of several packs answer",
	OtherPackSensed:    "the sensor of pack %[4]s answers",
	AboveVentWell:      "no cell can show a level of %[2]s: the bottom of its vent well is at %[3]s",
	TemperatureUnknown: "the temperature is not known now, so the level cannot be referred to 25 °C: read it again",
	LevelUnknown:       "the pilot cell's level is not known now, so there is nothing to compare with: read it again",
}

// Why is the reason of a refusal in English, a clause without a full stop.
func (r *Refusal) Why() string {
	text := whys[min(r.Code, NumCodes-1)]
	if !strings.Contains(text, "%") {
		return text
	}
	return fmt.Sprintf(text, r.field(), r.value(), r.accepted(), r.named())
}

// Text is a refusal as a sentence in English.
func (r *Refusal) Text() string { return "Refused " + r.Kind.String() + ": " + r.Why() + "." }

func (r *Refusal) field() string {
	if r.Field != nil {
		return r.Field.Name
	}
	var names []string
	if row := r.Kind.Row(); row != nil {
		for _, f := range row.Fields {
			names = append(names, f.Name)
		}
	}
	return strings.Join(names, " or ")
}

func (r *Refusal) value() string {
	switch {
	case r.Field == nil:
		return ""
	case r.Code == AboveVentWell:
		return r.Field.Write(r.Value)
	}
	return plain(r.Value)
}

func (r *Refusal) accepted() string {
	switch {
	case r.Field == nil:
		return ""
	case r.Code == AboveVentWell:
		return r.Field.Write(r.High)
	}
	return r.Field.Accepts(r.Low, r.High)
}

// named quotes foreign text, and what is a text of the order itself.
func (r *Refusal) named() string {
	if r.Code != BadText && r.Code != NoSuchPack {
		return r.Name
	}
	const most = 40
	if runes := []rune(r.Name); len(runes) > most {
		return strconv.Quote(string(runes[:most]) + "…")
	}
	return strconv.Quote(r.Name)
}

// Done says in English what an order has recorded, a sentence.
func Done(o *Order) string {
	switch o.Kind {
	case Fill:
		return fmt.Sprintf("Cell %d was given %.0f ml.", o.Cell, o.ML)
	case Gravity:
		return fmt.Sprintf("Cell %d reads %.3f at %.1f °C.", o.Cell, o.Gravity, o.AtC)
	case Level:
		return fmt.Sprintf("Level in cell %d: %.1f mm by the level rod.", o.Cell, o.LevelMM)
	case Quality:
		return waterText(o)
	case Pack:
		if o.Pack == "" {
			return "It is not known which pack is plugged in."
		}
		return "Pack " + o.Pack + " is plugged in."
	default:
		return "Done: " + o.Kind.String() + "."
	}
}

func waterText(o *Order) string {
	text := "The water was not measured"
	if !o.Unmeasured {
		text = fmt.Sprintf("The water has %.1f µS/cm", o.USPerCM)
	}
	if o.Water != "" {
		text += " (" + o.Water + ")"
	}
	return text + "."
}

package interlock

import (
	"fmt"
	"time"
)

// Code names a finding. The zero value is not a finding.
type Code uint8

// The findings. Their names in messages and metrics are in Table.
const (
	NoCode Code = iota
	PlatesBare
	CoverUnknown
	TemperatureUnknown
	VoltageUnknown
	VoltageImplausible
	PackHot
	PackFrozen
	AirflowUnproven
	HydrogenHigh
	ChargeOverrun
	Runaway
	ContactorStuck
	VisitOpen
	Held
	AgentUnready
	WaterBalance
	RecordFailing
	NumCodes
)

// Severity orders findings by what they ask of a person.
type Severity uint8

// The severities. The zero value is unknown.
const (
	SeverityUnknown Severity = iota
	Info                     // expected, someone did it on purpose
	Warning                  // look at it soon
	Danger                   // something can be ruined or someone hurt
)

// String is the severity's name in messages.
func (s Severity) String() string {
	switch s {
	case Info:
		return "info"
	case Warning:
		return "warning"
	case Danger:
		return "danger"
	default:
		return "unknown"
	}
}

// Rule is one row of the table: everything that is fixed about a finding.
type Rule struct {
	Code     Code
	Name     string // in messages and metrics
	Title    string // a few words for a list
	Severity Severity
	Blocks   bool          // withholds the permit while raised
	Latches  bool          // stays until a person releases it
	ToStart  bool          // a charge may not even start between the limit and the all-clear
	Raise    time.Duration // the condition must hold this long; see Why
	Clear    time.Duration // the all-clear must hold this long
	Why      string        // reason for the two times
	WhatToDo string
	Basis    string // published source of the limit, or that there is none
}

const (
	cautions = "Wear face shield, apron and acid-proof gloves; keep metal, flames and sparks away. "
	person   = "A competent person must look. "
)

// Table has one row for each code, in the order of the codes; row 0 is empty.
// Documentation, metrics, messages and the page are made from it.
var Table = [NumCodes]Rule{
	PlatesBare: {
		Code: PlatesBare, Name: "plates-bare", Title: "plates are bare", Severity: Danger, Blocks: true, ToStart: true,
		Raise: 2 * time.Second, Clear: 10 * time.Second,
		Why:      "At one tick a second two readings must agree, so that one bubble at the probe does not drop the contactor; two seconds are far shorter than what harms a plate. Ten seconds of cover show that it is not a wave.",
		WhatToDo: cautions + "Add pure water to each cell, only until the plates are covered. Fill to the level after the charge, when the pack is cool.",
		Basis:    "TM 10-3930-644-14&P: bared plates are harmed for good; cover them before the charge",
	},
	CoverUnknown: {
		Code: CoverUnknown, Name: "cover-unknown", Title: "electrolyte level unknown", Severity: Warning, Blocks: true,
		Raise: 2 * time.Second, Clear: 10 * time.Second,
		Why:      "One disturbed conversion must not drop the contactor; two in a row are not a disturbance.",
		WhatToDo: cautions + "Look at the level yourself, then at the probe, its plug and its wire.",
		Basis:    "no standard: missing evidence counts as bare plates",
	},
	TemperatureUnknown: {
		Code: TemperatureUnknown, Name: "temperature-unknown", Title: "pack temperature unknown", Severity: Warning, Blocks: true,
		Raise: 5 * time.Second, Clear: 10 * time.Second,
		Why:      "A damaged answer of a 1-wire sensor is read again within two seconds, and a pack warms by less than 0.01 °C in five.",
		WhatToDo: "Look at the temperature sensor, its plug and its wire.",
		Basis:    "no standard: missing evidence counts as a hot pack",
	},
	VoltageUnknown: {
		Code: VoltageUnknown, Name: "voltage-unknown", Title: "pack voltage unknown", Severity: Warning, Blocks: true,
		Raise: 2 * time.Second, Clear: 10 * time.Second,
		Why:      "As for the level.",
		WhatToDo: "Look at the sense leads and their fuses. " + person,
		Basis:    "no standard: missing evidence counts as a wrong pack",
	},
	VoltageImplausible: {
		Code: VoltageImplausible, Name: "voltage-implausible", Title: "voltage does not fit the pack", Severity: Danger, Blocks: true,
		Raise: 2 * time.Second, Clear: 10 * time.Second,
		Why:      "A contactor's bounce lasts under a second; a wrong or reversed pack must not be charged for longer than two.",
		WhatToDo: "Do not charge. Check polarity and that this is the pack named in the configuration. " + person,
		Basis:    "limits of a 2 V cell: 1.5 V deeply discharged, 2.9 V at the end of an unregulated charge when cold; common practice, no source",
	},
	PackHot: {
		Code: PackHot, Name: "pack-hot", Title: "electrolyte too hot to charge", Severity: Danger, Blocks: true,
		Raise: 10 * time.Second, Clear: time.Minute,
		Why:      "A pack moves by hundredths of a degree in ten seconds; a minute below the resume temperature is not noise.",
		WhatToDo: "Let it cool with the lid open and air moving. If it got hot on charge, have the charger checked.",
		Basis:    "NAVEDTRA 14113 and TM 5-3820-256-24-4: never above 125 °F (52 °C); resume at 100 °F (38 °C), UFGS 16262N",
	},
	PackFrozen: {
		Code: PackFrozen, Name: "pack-frozen", Title: "electrolyte may be frozen", Severity: Danger, Blocks: true,
		Raise: 10 * time.Second, Clear: time.Minute,
		Why:      "As for a hot pack.",
		WhatToDo: "Do not charge. Warm the pack slowly, then look for cracked jars.",
		Basis:    "freezing tables in TM 5-1185 and TM 5-4210-230-14&P-1, with a margin of 5 °C",
	},
	AirflowUnproven: {
		Code: AirflowUnproven, Name: "airflow-unproven", Title: "ventilation not proven", Severity: Danger, Blocks: true,
		Raise: 10 * time.Second, Clear: 30 * time.Second,
		Why:      "A vane flutters for some seconds in a gust; gas takes minutes to gather.",
		WhatToDo: "Start the fan; look at the fan and its proof switch. Open doors. No flame, no sparks.",
		Basis:    "UFC 3-410-04N: fan failure must block charging; EN 62485-3 for the flow",
	},
	HydrogenHigh: {
		Code: HydrogenHigh, Name: "hydrogen-high", Title: "hydrogen in the air", Severity: Danger, Blocks: true, ToStart: true,
		Raise: 2 * time.Second, Clear: 5 * time.Minute,
		Why:      "Two samples, so that one spike does not stop a charge; five minutes of clean air before more gas is made.",
		WhatToDo: "No flame, no switch, no sparks. Ventilate and leave. Come back when the reading is low. " + person,
		Basis:    "stop at 2 % by volume, UFC 3-520-01; lower explosive limit 4 %",
	},
	ChargeOverrun: {
		Code: ChargeOverrun, Name: "charge-overrun", Title: "charge did not end", Severity: Danger, Blocks: true, Latches: true,
		Why:      "The ceilings are hours and ampere-hours; a second more changes nothing.",
		WhatToDo: "Have charger and pack checked (weak cell, wrong charger), then release. " + person,
		Basis:    "TM 10-6140-200-14: charger and pack must match; ceilings are the project's own",
	},
	Runaway: {
		Code: Runaway, Name: "runaway", Title: "current rises with temperature", Severity: Danger, Blocks: true, Latches: true,
		Why:      "The condition itself spans many minutes.",
		WhatToDo: "Keep the pack off charge and let it cool. Have each cell checked, then release. " + person,
		Basis:    "Linden, Handbook of Batteries, thermal runaway: from memory",
	},
	ContactorStuck: {
		Code: ContactorStuck, Name: "contactor-stuck", Title: "contactor does not open", Severity: Danger, Latches: true,
		Raise:    3 * time.Second,
		Why:      "A contactor lets go within 30 ms; three seconds leave room for a slow feedback and for current to fall to zero.",
		WhatToDo: "Charging cannot be stopped from here: switch the charger off at its own switch. " + person + "Then release.",
		Basis:    "no standard: order and feedback contradict",
	},
	VisitOpen: {
		Code: VisitOpen, Name: "visit-open", Title: "a person works on the pack", Severity: Info, Blocks: true,
		Why:      "A person's hands are in the compartment: at once.",
		WhatToDo: "Close the visit when caps, lid and record are done.",
		Basis:    "29 CFR 1917.157: charger off while people work on the battery",
	},
	Held: {
		Code: Held, Name: "held", Title: "held by a person", Severity: Info, Blocks: true,
		Why:      "A person's order: at once.",
		WhatToDo: "Release the hold when its reason is gone.",
		Basis:    "order of a person",
	},
	AgentUnready: {
		Code: AgentUnready, Name: "agent-unready", Title: "not proven ready yet", Severity: Info, Blocks: true,
		Why:      "The settling time is its own condition.",
		WhatToDo: "Nothing: wait until the readings have been good for the settling time.",
		Basis:    "no standard: nothing is granted on readings that are not proven",
	},
	WaterBalance: {
		Code: WaterBalance, Name: "water-balance", Title: "level and charge records disagree", Severity: Warning,
		Raise: 6 * time.Hour, Clear: time.Hour,
		Why:      "Stratified and gas-filled electrolyte takes hours to settle.",
		WhatToDo: cautions + "Look for a leak or a fouled probe; compare the level with a dip rule.",
		Basis:    "Faraday's law: 0.336 g of water per ampere-hour; tolerance is the project's own",
	},
	RecordFailing: {
		Code: RecordFailing, Name: "record-failing", Title: "the record cannot be written", Severity: Warning,
		Raise: 10 * time.Second, Clear: 10 * time.Second,
		Why:      "A card may stall for seconds while it erases.",
		WhatToDo: "Free the disk or change the card. Charging is still guarded; the record has gaps.",
		Basis:    "no standard",
	},
}

// Lookup finds a code by its name in messages. It returns NoCode for a name
// that is not in the table.
func Lookup(name string) Code {
	for c := NoCode + 1; c < NumCodes; c++ {
		if Table[c].Name == name {
			return c
		}
	}
	return NoCode
}

// String is the code's name in messages and metrics, such as "plates-bare".
func (c Code) String() string {
	if c == NoCode || c >= NumCodes {
		return fmt.Sprintf("code-%d", uint8(c))
	}
	return Table[c].Name
}

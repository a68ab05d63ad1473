package interlock

import (
	"time"

	"bayward/agent/reading"
)

// The findings, in the order of their importance as reasons; each has its row in
// Table.
const (
	NoCode Code = iota
	PlatesBare
	Overfilled
	LevelUnknown
	LevelDoubted
	PackUnknown
	TemperatureUnknown
	VoltageUnknown
	CurrentUnknown
	VoltageImplausible
	PackHot
	PackFrozen
	AirflowUnproven
	HydrogenHigh
	ChargeOverrun
	Runaway
	ContactorStuck
	ContactorOpen
	VisitOpen
	Held
	CloseDelay
	AgentUnready
	HydrogenWarning
	PackWarm
	WaterBalance
	WaterUnrecorded
	ReadingsOff
	CellsMiscounted
	RecordFailing
	NumCodes
)

// Table has one row for each code, in the order of the codes; row 0 is empty.
// findings.md, metrics, messages and the page are made from it; agent/words has
// the sentences for people.
var Table = [NumCodes]Rule{
	PlatesBare: {
		Code: PlatesBare, Name: "plates-bare", Severity: Danger, Blocks: true, ToStart: true,
		Reasons:   []Reason{BelowChargeLevel, CellsBare},
		ClearWhen: "the level is at or above the lowest level for charging, and no cell is bare by the record",
		Raise:     2 * time.Second, Clear: 10 * time.Second,
		Why:   "At one tick a second two readings must agree, so one bubble at the probe does not drop the contactor; two seconds are far less than it takes to harm a plate. Ten seconds of level rule out a wave.",
		Basis: "TM 10-3930-644-14&P: bare plates are damaged permanently; cover them before the charge",
		Reads: reading.ElectrolyteLevel,
	},
	Overfilled: {
		Code: Overfilled, Name: "overfilled", Severity: Danger, Blocks: true,
		Reasons:   []Reason{Several},
		ClearWhen: "electrolyte was drawn off from each such cell and a level at or below the ceiling read after it, or a person has taken it on with a reason",
		Why:       "What a person has recorded and confirmed: at once.",
		Basis:     "the ceiling is the bottom of the vent well, less the rise to charge_max_c (Myhre, Nielsen and Saastad, J. Chem. Eng. Data 43 (1998) 617), gas and 1 mm: above it acid comes out when the pack gasses",
		Limits:    []string{"charge_max_c", "gas_hold_up_mm"},
	},
	LevelUnknown: {
		Code: LevelUnknown, Name: "level-unknown", Severity: Warning, Blocks: true,
		ClearWhen: "the level has a good reading",
		Raise:     2 * time.Second, Clear: 10 * time.Second,
		Why:   "One disturbed conversion must not drop the contactor; two in a row are not a disturbance. Ten good readings show that the contact is repaired, not just disturbed.",
		Basis: "no standard: missing evidence counts as bare plates",
		Reads: reading.ElectrolyteLevel, Unread: UnreadAlone,
	},
	LevelDoubted: {
		Code: LevelDoubted, Name: "level-doubted", Severity: Warning, Blocks: true,
		Reasons:   []Reason{ByBalance, NeverRead},
		ClearWhen: "the careful lower bound of every cell is 0.5 mm or more above the plate tops, after its level was read",
		Why:       "It is worked out from the record, and moves by less than a tenth of a millimetre an hour: at once. The gap between the two limits is what a reading must give.",
		Basis:     "Faraday's law for the loss since a cell was last read, with what a level rod (common practice, no source), an amount poured and a cell's own use may be off",
	},
	PackUnknown: {
		Code: PackUnknown, Name: "pack-unknown", Severity: Warning, Blocks: true, ToStart: true,
		Reasons:   []Reason{NoSensor, TwoSensors, PackChanged, Elsewhere},
		ClearWhen: "the pack's own sensor or a person names the pack, and nothing contradicts it",
		Clear:     10 * time.Second,
		Why:       "Another pack's number is not a disturbed reading, because its checksum was right: at once. Ten good seconds are more than one lucky answer.",
		Basis:     "no standard: an unknown pack has no limits and no history",
	},
	TemperatureUnknown: {
		Code: TemperatureUnknown, Name: "temperature-unknown", Severity: Warning, Blocks: true,
		ClearWhen: "the temperature has a good reading",
		Raise:     5 * time.Second, Clear: 10 * time.Second,
		Why:   "A corrupted answer of a 1-wire sensor is read again within two seconds, and a pack warms by less than 0.01 °C in five. Ten good seconds are more than one lucky answer.",
		Basis: "no standard: missing evidence counts as a hot pack",
		Reads: reading.PackTemperature, Unread: UnreadAlone,
	},
	VoltageUnknown: {
		Code: VoltageUnknown, Name: "voltage-unknown", Severity: Warning, Blocks: true,
		ClearWhen: "the voltage has a good reading",
		Raise:     2 * time.Second, Clear: 10 * time.Second,
		Why:   "One disturbed conversion must not drop the contactor; two in a row are not a disturbance. Ten good readings show that it is fixed.",
		Basis: "no standard: missing evidence counts as a wrong pack",
		Reads: reading.PackVoltage, Unread: UnreadAlone,
	},
	CurrentUnknown: {
		Code: CurrentUnknown, Name: "current-unknown", Severity: Warning, Blocks: true,
		ClearWhen: "the current has a good reading",
		Raise:     5 * time.Second, Clear: 10 * time.Second,
		Why:   "Five seconds at the highest current are a thousandth of the capacity, so the count stays right; ten good readings show that it is fixed.",
		Basis: "no standard: a configured sensor that gives no reading blocks",
		Reads: reading.PackCurrent, Unread: UnreadAlone,
	},
	VoltageImplausible: {
		Code: VoltageImplausible, Name: "voltage-implausible", Severity: Danger, Blocks: true,
		Reasons:   []Reason{Reversed, TooLow, TooHigh},
		ClearWhen: "it is between 1.75 and 2.42 V, on charge between 1.75 and 2.85 V",
		Raise:     2 * time.Second, Clear: 10 * time.Second,
		Why:   "A contactor's bounce lasts under a second; a wrong or reversed pack must not be charged for longer than two. Ten good readings show that the plug has made good contact.",
		Basis: "common practice, no source: 1.75 V is the usual end of discharge under load, 2.85 V the end of an unregulated charge; the next usual pack on the same terminals is outside",
		Reads: reading.PackVoltage,
	},
	PackHot: {
		Code: PackHot, Name: "pack-hot", Severity: Danger, Blocks: true,
		Reasons:   []Reason{OnCase},
		ClearWhen: "it is at charge_resume_c or below",
		Raise:     10 * time.Second, Clear: time.Minute,
		Why:   "A pack changes by hundredths of a degree in ten seconds; a minute below the resume temperature is not noise.",
		Basis: "NAVEDTRA 14113: never above 125 °F (51.7 °C); TM 5-3820-256-24-4: reduce or stop there; resume at 100 °F (37.8 °C), UFGS 16262N",
		Reads: reading.PackTemperature, Limits: []string{"charge_max_c", "charge_resume_c"},
	},
	PackFrozen: {
		Code: PackFrozen, Name: "pack-frozen", Severity: Danger, Blocks: true,
		Reasons:   []Reason{OnCase},
		ClearWhen: "it is more than 1 °C above that",
		Raise:     10 * time.Second, Clear: time.Minute,
		Why:   "A pack changes by hundredths of a degree in ten seconds; a minute above is not noise.",
		Basis: "freezing tables in TM 5-1185 and TM 5-4210-230-14&P-1, with a margin of 5 °C",
		Reads: reading.PackTemperature,
	},
	AirflowUnproven: {
		Code: AirflowUnproven, Name: "airflow-unproven", Severity: Danger, Blocks: true,
		Reasons:   []Reason{NeverOff},
		ClearWhen: "it shows air moving, and has once shown none",
		Raise:     10 * time.Second, Clear: 30 * time.Second,
		Why:   "A vane flutters for some seconds in a gust; gas takes minutes to build up. Thirty seconds of proof show that the fan has run up and keeps running.",
		Basis: "UFC 3-410-04N: fan failure must block charging; EN 62485-3 for the flow",
		Reads: reading.Airflow, Unread: UnreadAlso,
	},
	HydrogenHigh: {
		Code: HydrogenHigh, Name: "hydrogen-high", Severity: Danger, Blocks: true, ToStart: true,
		ClearWhen: "it shows less than hydrogen_resume_pct",
		Raise:     2 * time.Second, Clear: 5 * time.Minute,
		Why:   "Two samples must agree, so one spike does not stop a charge; five minutes of clean air before more gas is made.",
		Basis: "stop at 2 % by volume, UFC 3-520-01; lower explosive limit 4 %",
		Reads: reading.Hydrogen, Unread: UnreadAlso, Limits: []string{"hydrogen_max_pct", "hydrogen_resume_pct"},
	},
	ChargeOverrun: {
		Code: ChargeOverrun, Name: "charge-overrun", Severity: Danger, Blocks: true, Latches: true,
		Reasons:   []Reason{ByHours, ByAmpereHours, AfterFull},
		ClearWhen: "the charge has ended; or, if it had not become full, it is proven full",
		Why:       "The ceilings are hours and ampere-hours; one second more changes nothing.",
		Basis:     "TM 10-6140-200-14: charger and pack must match; ceilings are the project's own",
		Limits:    []string{"charge_max_hours", "charge_max_factor"},
	},
	Runaway: {
		Code: Runaway, Name: "runaway", Severity: Danger, Blocks: true, Latches: true,
		ClearWhen: "the charge has ended, or the current falls again",
		Why:       "The condition itself spans many minutes.",
		Basis:     "Linden, Handbook of Batteries, thermal runaway: from memory",
	},
	ContactorStuck: {
		Code: ContactorStuck, Name: "contactor-stuck", Severity: Danger, Latches: true,
		Reasons:   []Reason{ByCurrent},
		ClearWhen: "open is ordered and everything configured shows open",
		Raise:     3 * time.Second,
		Why:       "A contactor releases within 30 ms; three seconds allow for a slow feedback and for the current to fall to zero.",
		Basis:     "no standard: order and feedback contradict each other. It cannot block: it is an alarm, and stops the heartbeat, so that the watchdog relay opens what it can",
	},
	ContactorOpen: {
		Code: ContactorOpen, Name: "contactor-open", Severity: Warning,
		Reasons:   []Reason{ByCurrent},
		ClearWhen: "closed is ordered and the feedback contact shows closed",
		Raise:     5 * time.Second, Clear: 10 * time.Second,
		Why:   "A contactor pulls in within 30 ms; five seconds allow for a slow feedback. Ten seconds show that it holds.",
		Basis: "no standard: order and feedback contradict each other. It does not block: an open contactor is safe",
		Reads: reading.ContactorFeedback, Unread: UnreadAlso,
	},
	VisitOpen: {
		Code: VisitOpen, Name: "visit-open", Severity: Info, Blocks: true,
		ClearWhen: "the visit is closed",
		Why:       "Someone's hands are in the compartment: at once.",
		Basis:     "common practice, no source: nobody works in a compartment on charge; 29 CFR 1917.157 asks for the charger off to connect and disconnect",
	},
	Held: {
		Code: Held, Name: "held", Severity: Info, Blocks: true,
		Reasons:   []Reason{Forgotten, NewBay},
		ClearWhen: "the last hold is removed",
		Why:       "A person's order: at once.",
		Basis:     "a person's order",
	},
	CloseDelay: {
		Code: CloseDelay, Name: "close-delay", Severity: Info, Blocks: true,
		ClearWhen: "close_delay_seconds have passed since",
		Why:       "The delay is the condition: nothing may close the contactor on somebody who is still stepping back.",
		Basis:     "29 CFR 1910.147(e), from memory: everybody is clear before a machine is energised; the time is the project's own",
		Limits:    []string{"close_delay_seconds"},
	},
	AgentUnready: {
		Code: AgentUnready, Name: "agent-unready", Severity: Info, Blocks: true,
		Reasons:   []Reason{NoPack, ContactorRest, Restored, LateTick, KeeperSilent, KeeperOther, KeeperFails},
		ClearWhen: "none of these applies",
		Why:       "The checking time and the minimum off time are part of the condition.",
		Basis:     "no standard: nothing is granted on unproven readings",
		Limits:    []string{"settle_seconds", "off_min_seconds"},
	},
	HydrogenWarning: {
		Code: HydrogenWarning, Name: "hydrogen-warning", Severity: Warning,
		ClearWhen: "it shows 0.8 % by volume or less",
		Raise:     2 * time.Second, Clear: 5 * time.Minute,
		Why:   "As for hydrogen-high: two samples must agree, and five minutes of clean air are no lull.",
		Basis: "1 % by volume is a quarter of the lower explosive limit and the design limit of UFC 3-410-04N, chapter 8; most codes act there",
		Reads: reading.Hydrogen,
	},
	PackWarm: {
		Code: PackWarm, Name: "pack-warm", Severity: Warning,
		Reasons:   []Reason{OnCase},
		ClearWhen: "it is at 41 °C or below",
		Raise:     10 * time.Second, Clear: time.Minute,
		Why:   "A pack changes by hundredths of a degree in ten seconds; a minute below is not noise.",
		Basis: "110 °F (43 °C): UFGS 16262N interrupts a charge there",
		Reads: reading.PackTemperature,
	},
	WaterBalance: {
		Code: WaterBalance, Name: "water-balance", Severity: Warning,
		ClearWhen: "it differs by 2 mm or less",
		Raise:     6 * time.Hour, Clear: time.Hour,
		Why:   "Stratified and gassy electrolyte takes hours to settle.",
		Basis: "Faraday's law: 0.336 g of water per ampere-hour; tolerance is the project's own",
	},
	WaterUnrecorded: {
		Code: WaterUnrecorded, Name: "water-unrecorded", Severity: Warning,
		ClearWhen: "that water is recorded as a late visit, or the level of every other cell was read since",
		Why:       "The level must have been still for ten minutes before and after: at once.",
		Basis:     "no standard: water that nobody recorded is in no cell but the one that shows it; acid that returns with the charge moves the level by 2 mm at most, a probe is off by 1 mm",
	},
	ReadingsOff: {
		Code: ReadingsOff, Name: "readings-off", Severity: Warning,
		Reasons:   []Reason{TooLow},
		ClearWhen: "the average of the last four is off by less than 1.5 mm, or one of them errs to the other side",
		Why:       "Four readings are the condition.",
		Basis:     "common practice, no source: a probe may be off by 1 mm for good; a reading by rod is off by 0.6 mm at random and a probe by 0.8 mm, so the average of four by 0.5 mm, and 2 mm is twice that beyond",
	},
	CellsMiscounted: {
		Code: CellsMiscounted, Name: "cells-miscounted", Severity: Warning,
		Reasons:   []Reason{MoreCells},
		ClearWhen: "the configured number fits the rests after full charges",
		Why:       "It is worked out from hours of rest: at once.",
		Basis:     "DOE-HDBK-1084-95: a cell rests at its gravity plus 0.845 V; TM 5-684: lower than that points to a fault. It does not block: voltage and full have findings of their own that do",
	},
	RecordFailing: {
		Code: RecordFailing, Name: "record-failing", Severity: Warning,
		ClearWhen: "it can be written",
		Raise:     10 * time.Second, Clear: 10 * time.Second,
		Why:   "A card may stall for seconds while it erases.",
		Basis: "no standard",
	},
}

package interlock

import (
	"fmt"

	"bayward/agent/reading"
)

// Evidence is the numbers that led to a finding. The meaning of Value and Limit
// depends on the code: millimetres for the level, degrees Celsius for temperatures,
// volts for one cell, per cent by volume for hydrogen, amperes for a stuck
// contactor, seconds left for an unready agent, hours or ampere-hours for an overrun,
// the number of cells where the record says that they are bare, and for overfilled
// cells the first one, with how many there are as Limit,
// for a doubted level the hours since the cell with that number, Limit, was read, and
// for miscounted cells the number that fits, with the configured one as Limit.
type Evidence struct {
	Value, Limit float64
	Fault        reading.Fault // why the reading cannot be used, for findings about readings
	Reason       Reason
}

// Reason distinguishes the ways in which one finding can come about. The zero value
// is the usual one. A finding's row in Table lists its reasons; memories store
// their numbers, so a new one goes at the end.
type Reason uint8

// The reasons.
const (
	Usual            Reason = iota
	BelowChargeLevel        // plates-bare: covered, but by less than a charge needs
	NoPack                  // agent-unready: no pack is connected
	ContactorRest           // agent-unready: the minimum off time
	Restored                // agent-unready: the memory was in doubt
	LateTick                // agent-unready: agent or keeper were late, and the relay opened
	Forgotten               // held: the orders from before a restart may be missing from the record
	ByCurrent               // contactor-stuck: current flows while open is ordered; contactor-open: it flows although the contact shows open
	Reversed                // voltage-implausible: wrong polarity
	TooLow                  // voltage-implausible
	TooHigh                 // voltage-implausible
	ByHours                 // charge-overrun
	ByAmpereHours           // charge-overrun
	NoSensor                // pack-unknown: no pack's own sensor answers
	TwoSensors              // pack-unknown: the sensors of several packs answer
	PackChanged             // pack-unknown: another pack's sensor answers, although nothing was unplugged
	Elsewhere               // pack-unknown: another bay has this pack
	AfterFull               // charge-overrun: by hours after full
	CellsBare               // plates-bare: cells that are bare by the record; Value is how many
	Several                 // overfilled: more than one cell
	NewBay                  // held: the bay is not commissioned yet
	KeeperSilent            // agent-unready: the relay's keeper does not answer
	KeeperOther             // agent-unready: the keeper was started with other lines
	KeeperFails             // agent-unready: the keeper cannot drive the line
	OnCase                  // pack-hot, pack-warm, pack-frozen: worked out from a sensor on the case
	ByBalance               // level-doubted: the balance has the plates of the cell with the probe bare, whatever the probe shows
	NeverRead               // level-doubted: there is no reading to count from
	NeverOff                // airflow-unproven: the airflow switch has shown air ever since it is watched
	MoreCells               // cells-miscounted: more cells than configured fit better
	NumReasons
)

var reasonNames = [NumReasons]string{
	"usual", "below-charge-level", "no-pack", "contactor-rest", "restored", "late-tick", "forgotten", "by-current",
	"reversed", "too-low", "too-high", "by-hours", "by-ampere-hours", "no-sensor", "two-sensors", "pack-changed", "elsewhere",
	"after-full", "cells-bare", "several", "new-bay", "keeper-silent", "keeper-other-lines", "keeper-fails",
	"on-case", "by-balance", "never-read", "never-off", "more-cells",
}

// String returns the reason's name in the record, such as "contactor-rest".
func (r Reason) String() string {
	if r >= NumReasons {
		return fmt.Sprintf("reason-%d", uint8(r))
	}
	return reasonNames[r]
}

// ParseReason finds a reason by its name; an unknown name is Usual.
func ParseReason(name string) Reason {
	for r := range NumReasons {
		if reasonNames[r] == name {
			return r
		}
	}
	return Usual
}

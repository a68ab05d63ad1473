// Package campaign is tests only: it breaks each part of a simulated bay behind
// the real drivers and the real loop, and holds the time until the charge is
// blocked and the contactor open to its bound. The table that it prints says
// for each fault what was said, how it recovers, and which faults nothing sees.
package campaign

// Package campaign is tests only: it breaks each part of a simulated bay behind the
// real drivers and the real loop, and checks the time until the charge is blocked
// and the contactor open against its bound. The table that it prints shows for each
// fault what was reported, how it recovers, and which faults nothing detects.
package campaign

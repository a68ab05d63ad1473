// Package charge follows a charge from its readings and proves the pack full
// by evidence, never by elapsed time alone. It is pure: time comes in as a value.
package charge

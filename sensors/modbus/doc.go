// Package modbus reads values from registers of devices that speak Modbus, on a serial
// line (RTU) or over TCP. It never writes one.
//
// Protocol: "MODBUS Application Protocol Specification V1.1b3" and "MODBUS over Serial
// Line Specification and Implementation Guide V1.02" of the Modbus Organization. Frames
// and check sums are those of github.com/simonvetter/modbus.
//
// A [Line] is one serial line or connection, with all devices on it: one transaction at
// a time, each with its deadline. After any failure but a device's own refusal it is
// closed, left alone for as long as an answer may take, and opened again: on a serial
// line answers carry no number, so a late one would be taken for that of the next
// request.
//
// A [Point] is one value: where it is, how its words are read, and what shows that the
// device behind it still measures. A register keeps its last value forever if the
// device's program hangs, or if a gateway has lost the device, and nothing in Modbus says
// so. Values that mean a failure, a status register, a counter that must move, and a
// register with the age of the value are the devices' own ways; a Point follows those
// that it is told of.
package modbus

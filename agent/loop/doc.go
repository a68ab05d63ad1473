// Package loop runs the bays: in each tick it samples the sensors, steps the core,
// drives the relays, and only then hands pictures and events to the outputs. An
// output may block forever, a sensor may hang, an order may come at any time: none
// of them delays a relay. A guard opens a relay whose refresh is late. A panic in
// the core opens all relays and ends the loop.
package loop

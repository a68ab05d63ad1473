// Package loop runs the bays: in each tick it samples the sensors, steps the core,
// drives the relays, and only then hands pictures and events to the outputs. An
// output may block forever, a sensor may hang, an order may come at any time: none
// of them delays a relay. A relay is closed by its keeper, and only for a lease of
// some seconds that each tick renews: a loop that stops opens it. A panic in the core
// opens all relays and ends the loop.
package loop

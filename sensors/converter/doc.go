// Package converter is what the drivers of converters share: what a family of chips
// can measure, as the configuration checks it, the interface under which an opened
// chip is read, and the errors of a reading. A converter is whatever turns a voltage
// into a number: an analogue-to-digital converter, or a monitor of current and voltage.
//
// # Adding a family
//
//  1. sensors/NAME: the driver, in the shape of sensors/ads1115, with a Family; the
//     data sheet's title in its doc.go, its values beside the constants.
//  2. sensors/NAME/chip: the simulated chip, at register level. It shares nothing with
//     the driver: both are written from the data sheet.
//  3. A row in sensors/families.
//
// Configuration, schema, simulator, walk and check take it from the row.
package converter

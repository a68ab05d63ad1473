// Package web serves the technician's page and the HTTP interface: the state of each
// bay, why a charge is blocked, what to do, and the orders of a person at the pack.
//
// It promises:
//
//   - Handlers only read the last pictures, so even a slow reader never delays the
//     loop.
//   - The page works without JavaScript, which only keeps it up to date.
//   - The state of a visit is in the core, so the visit continues after a phone, a
//     page or the agent has stopped.
//   - A form that is not accepted is shown again, filled in, with each fault at its
//     box. One that was sent after its session had ended is kept.
//   - A tap on a visit's grid is an entry that waits on the phone until it is sent, once,
//     also after a lost connection. It is never given to a later visit.
//   - A form gives one order. Nothing of it is recorded unless all of it is.
//   - Input from outside is always escaped on the page.
//   - Other web sites cannot give orders through a person's browser.
//   - If the listener cannot identify callers (there are no people, and
//     Options.Writable is false), no order that makes a bay less careful is
//     accepted.
//
// agent/words provides the texts for people.
//
// # Changing the page
//
// A form of the page is a form (form.go): the template takes its boxes from there, its
// handler (sent, in visitforms.go) notes what is wrong with wrong and ask. A number is
// read by typed, in the unit that its box shows.
//
// Every page works without scripts: page/script.js only keeps it up to date,
// page/visit.js sends the taps of a visit without loading its page again, and
// page/chart.js lets a person zoom in. BAYWARD_SHOTS=DIR go test ./agent/web/browser
// drives the pages in Chromium (after npm ci there) and saves a picture of each
// screen in DIR: look at them.
package web

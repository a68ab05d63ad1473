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
//   - An open page has the whole visit in it, first aid included. In a secure context the
//     page installs: page/sw.js then keeps first aid, cautions, the sheet and the open
//     visits on the phone. A copy says how old it is and nothing about the permit, and is
//     shown only where the agent does not answer. It goes when somebody signs in or out,
//     and with the version of the agent.
//   - A visit is opened and closed only with a connection: what makes a bay less careful
//     never waits on a phone.
//   - An entry that waited is of the visit whose ID it has. The time that the phone gives
//     is believed only between the opening of the visit and now.
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
// page/visit.js sends the taps of a visit without loading its page again, page/store.js
// keeps what waits, page/here.js has first aid and a cell for a lost connection, and
// page/chart.js lets a person zoom in. BAYWARD_SHOTS=DIR go test ./agent/web/browser
// drives the pages in Chromium (after npm ci there) and saves a picture of each
// screen in DIR: look at them.
package web

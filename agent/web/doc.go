// Package web is the technician's page and the HTTP interface: what each bay
// is doing, why a charge is blocked, what to do, and the orders of a person
// at the pack.
//
// It promises: handlers only read the last pictures, so no reader, however
// slow, holds anything of the loop; the page works without JavaScript, which
// only keeps it fresh; a visit's state is in the core, so it goes on wherever a
// phone, a page or the agent left off; nothing that comes from outside reaches
// the page unescaped; other web sites cannot give orders through a person's
// browser; and where the listener does not know who asks (no people, and
// Options.Writable is false), nothing can be ordered that makes a bay less
// careful.
//
// Text for people is worded by agent/words.
//
// # Changing the page
//
// Every page works without scripts: page/script.js only keeps it fresh and
// page/chart.js lets a person look closer. BAYWARD_SHOTS=DIR go test
// ./agent/web/browser drives the pages in Chromium (after npm ci there) and keeps a
// picture of each screen in DIR: look at them.
package web

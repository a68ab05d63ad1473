// Package metrics shows the pictures of all bays to Prometheus.
//
// It promises: what is measured is taken from the last picture at the moment
// of the scrape, so a scrape never touches hardware and never waits for the
// loop; a reading that is missing is absent, never 0; a sensor that was taken
// out of the configuration leaves nothing behind; labels come only from the
// configuration and from fixed tables. Units are base units.
package metrics

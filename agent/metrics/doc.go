// Package metrics shows the pictures of all bays to Prometheus.
//
// It promises: measured values come from the last picture at the moment of the
// scrape, so a scrape never touches hardware and never waits for the loop; a
// missing reading is absent, never 0; a sensor removed from the configuration
// leaves nothing behind; labels come only from the configuration and from fixed
// tables. Units are base units.
package metrics

// Package plot draws a replay: the readings, and the core's decisions, over one
// time axis. Stages and findings each have a row of their own, so that the picture
// can be read without its colours.
//
// A [Recorder] processes every tick and keeps a fixed number of points, so a year
// costs no more memory than a night. Each point is the span of the values that it
// represents: a spike stays visible however long the trace.
package plot

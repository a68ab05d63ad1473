// Package plot draws a replay: what was read, and what the core made of it, over
// one time axis. Stages and findings each have a row of their own, so that the
// picture can be read without its colours.
//
// A [Recorder] takes in every tick and keeps a fixed number of points, so that a
// year costs no more memory than a night. Each point is the span of the values
// that it stands for: a spike stays visible however long the trace.
package plot

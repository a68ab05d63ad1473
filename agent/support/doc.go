// Package support gathers into one file what a supporter needs of an agent, without its
// secrets.
package support

// Package cooldown decides when a pack that was proven full has rested and
// cooled enough to be watered, and estimates when that will be. It is pure.
package cooldown

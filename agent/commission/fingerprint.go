package commission

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"

	"bayward/agent/config"
	"bayward/sensors/wiring"
)

// Fingerprint identifies what a walk has proven: the configured wiring and pack.
// Copying a calibration into the configuration changes it on purpose, because the
// earlier proof used other figures.
func Fingerprint(b *config.Bay, p config.Pack) string {
	raw, err := json.Marshal(struct {
		W wiring.Parts
		P config.Pack
	}{b.Wiring, p})
	if err != nil {
		return "" // never happens: only finite numbers and words are encoded
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:8])
}

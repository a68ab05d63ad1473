package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"net/http"
	"strings"
	"time"
)

// A badge is a cookie by which a browser shows that a person signed in with it before:
// strangers' guesses do not make this browser wait. It does not sign anybody in. Its
// key comes from the hash of the PIN, so it needs no storage, survives a restart and
// ends with the PIN.
const (
	badgeCookie = "bayward-badge-" // and a short form of the name: several people may share a browser
	badgeFor    = 180 * 24 * time.Hour
	badgePath   = "/sign-in"
)

func badgeName(person string) string {
	sum := sha256.Sum256([]byte(person))
	return badgeCookie + hex.EncodeToString(sum[:6])
}

// newBadge returns a badge for one browser of the person.
func (p Person) newBadge() string {
	id := rand.Text()
	return id + "." + p.seal(id)
}

// seal is a proof that only this program can make.
func (p Person) seal(id string) string {
	mac := hmac.New(sha256.New, []byte("bayward badge "+p.Hash))
	mac.Write([]byte(id + " " + p.Name))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// badged reports whether a badge is the person's.
func (p Person) badged(badge string) bool {
	id, seal, ok := strings.Cut(badge, ".")
	return ok && hmac.Equal([]byte(seal), []byte(p.seal(id)))
}

// badgeOf returns the badge of a browser for a person, "" if it has none.
func badgeOf(r *http.Request, name string) string {
	c, err := r.Cookie(badgeName(name))
	if err != nil {
		return ""
	}
	return c.Value
}

func setBadge(w http.ResponseWriter, r *http.Request, p Person) {
	if p.badged(badgeOf(r, p.Name)) {
		return
	}
	http.SetCookie(w, &http.Cookie{ //nolint:gosec // G124: Secure cannot be set where the site has no TLS
		Name: badgeName(p.Name), Value: p.newBadge(), Path: badgePath, MaxAge: int(badgeFor.Seconds()),
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode,
	})
}

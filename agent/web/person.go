package web

import (
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"bayward/agent/order"
	"bayward/agent/words"
)

// Names of the cookies.
const (
	sessionCookie  = "bayward-session"
	roundCookie    = "bayward-round"
	nameCookie     = "bayward-name" // the last name given, where no one signs in
	languageCookie = "bayward-language"
	unitsCookie    = "bayward-units"
)

// personKey is the context key for the person of a request.
type personKey struct{}

// person returns the caller, the zero value if no one signs in here.
func person(r *http.Request) Person {
	p, _ := r.Context().Value(personKey{}).(Person) // the zero value is no one
	return p
}

// view returns the caller's language and units, from the cookie or else the
// configuration.
func (s *server) view(r *http.Request) words.Voice {
	language, units := s.Language, s.Units
	if c, err := r.Cookie(languageCookie); err == nil && words.IsLanguage(c.Value) {
		language = c.Value
	}
	if c, err := r.Cookie(unitsCookie); err == nil && words.IsSystem(c.Value) {
		units = c.Value
	}
	return words.New(language, units)
}

// openAddress reports whether an address needs no sign-in: first aid above all.
func openAddress(path string) bool {
	switch path {
	case "/healthz", "/metrics", "/first-aid", "/offline", "/hold", "/sign-in", passPath, "/settings", "/openapi.yaml", "/sw.js", "/manifest.webmanifest":
		return true
	}
	if name, ok := strings.CutPrefix(path, "/"); ok && slices.Contains(assets, name) {
		return true
	}
	return path == "/guide" || strings.HasPrefix(path, "/guide/") // whoever wires the bay may not be a person of it yet
}

// admit requires a sign-in once people are configured.
func (s *server) admit(next http.Handler) http.Handler {
	if s.gate == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p, ok, err := s.known(r)
		switch {
		case ok:
			next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), personKey{}, p)))
		case openAddress(r.URL.Path), s.wallKeyed(r):
			next.ServeHTTP(w, r)
		case strings.HasPrefix(r.URL.Path, "/api/"):
			s.unknown(w, err)
		case r.Method == http.MethodGet && r.URL.Path != "/live":
			http.Redirect(w, r, "/sign-in?"+url.Values{"to": {r.URL.RequestURI()}}.Encode(), http.StatusSeeOther)
		case r.Method == http.MethodPost && strings.HasPrefix(r.URL.Path, "/bays/") && parseForm(w, r) == nil:
			s.signInFirst(w, r)
		default:
			s.fail(w, r, *failed(http.StatusUnauthorized, "sign-in", s.view(r).Say("sign.why")))
		}
	})
}

// known identifies the person by session or, for programs, by basic authentication.
func (s *server) known(r *http.Request) (Person, bool, error) {
	if c, err := r.Cookie(sessionCookie); err == nil {
		if p, ok := s.gate.who(c.Value); ok {
			s.Door.Know(peer(r.RemoteAddr))
			return p, true, nil
		}
	}
	name, pin, ok := r.BasicAuth()
	if !ok || !strings.HasPrefix(r.URL.Path, "/api/") {
		return Person{}, false, nil
	}
	ctx, cancel := context.WithTimeout(r.Context(), submitFor)
	defer cancel()
	p, err := s.enter(ctx, attempt{name: name, pin: pin, from: s.caller(r)})
	if err == nil {
		s.Door.Know(peer(r.RemoteAddr))
	}
	return p, err == nil, err
}

// busyFor is when to try again to sign in.
const busyFor = 5 * time.Second

func (s *server) unknown(w http.ResponseWriter, err error) {
	if many, ok := errors.AsType[tooManyError](err); ok {
		w.Header().Set("Retry-After", seconds(many.wait))
		writeProblem(w, *failed(http.StatusTooManyRequests, "too-many", many.Error()))
		return
	}
	if errors.Is(err, errBusy) {
		w.Header().Set("Retry-After", seconds(busyFor))
		writeProblem(w, *failed(http.StatusTooManyRequests, "too-many", err.Error()))
		return
	}
	w.Header().Set("WWW-Authenticate", `Basic realm="bayward", charset="UTF-8"`)
	writeProblem(w, *failed(http.StatusUnauthorized, "sign-in", "sign in, or send name and PIN as basic authentication"))
}

type signInPage struct {
	base
	To   string
	Kept string // a form that was sent without a session, to be sent after signing in
	Hold bool   // a hold is taken without signing in
}

func (s *server) newSignInPage(r *http.Request, to string) signInPage {
	return signInPage{base: s.base(r, s.view(r).Say("sign.title")), To: safeTarget(to), Hold: s.mayHoldOpen(r)}
}

func (s *server) signInForm(w http.ResponseWriter, r *http.Request) {
	s.write(w, r, http.StatusOK, "signin", s.newSignInPage(r, r.URL.Query().Get("to")))
}

// signInFirst keeps the form of a person whose session has ended.
func (s *server) signInFirst(w http.ResponseWriter, r *http.Request) {
	page := s.newSignInPage(r, r.URL.Path)
	page.Kept, page.Here = r.PostForm.Encode(), "/"
	s.write(w, r, http.StatusUnauthorized, "signin", page)
}

// keptPage is a form that was kept while its person signed in.
type keptPage struct {
	base
	To   string
	Kept []input
}

// keptForm shows a form that was kept, to be sent now. It is false if there is none.
func (s *server) keptForm(w http.ResponseWriter, r *http.Request, token string) bool {
	values, err := url.ParseQuery(r.PostForm.Get("kept"))
	to := safeTarget(r.PostForm.Get("to"))
	if err != nil || len(values) == 0 || !strings.HasPrefix(to, "/bays/") {
		return false
	}
	setCookie(w, r, sessionCookie, token, sessionFor)
	page := keptPage{base: s.base(r, s.view(r).Say("sign.kept.title")), To: to, Kept: form{values: values}.Hidden()}
	page.Here = "/"
	s.write(w, r, http.StatusOK, "kept", page)
	return true
}

// safeTarget returns to if it is one of our own addresses, else the overview.
func safeTarget(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.Contains(to, `\`) {
		return "/"
	}
	return u.RequestURI()
}

func (s *server) signIn(w http.ResponseWriter, r *http.Request) {
	if wrong := parseForm(w, r); wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	if s.gate == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), submitFor)
	defer cancel()
	name := r.PostForm.Get("name")
	p, err := s.enter(ctx, attempt{name: name, pin: r.PostForm.Get("pin"), from: s.caller(r), badge: badgeOf(r, name)})
	if err != nil {
		s.signInAgain(w, r, err)
		return
	}
	setBadge(w, r, p)
	token := rand.Text()
	s.gate.begin(token, p.Name)
	if s.keptForm(w, r, token) {
		return
	}
	setCookie(w, r, sessionCookie, token, sessionFor)
	http.Redirect(w, r, safeTarget(r.PostForm.Get("to")), http.StatusSeeOther) //nolint:gosec // G710: safeTarget lets only addresses of our own through
}

// enter is the gate's, counted where it refuses.
func (s *server) enter(ctx context.Context, a attempt) (Person, error) {
	p, err := s.gate.enter(ctx, a)
	if err != nil && s.SignInRefused != nil {
		s.SignInRefused()
	}
	return p, err
}

func (s *server) signInAgain(w http.ResponseWriter, r *http.Request, err error) {
	v := s.view(r)
	f := form{Action: "sign", values: r.PostForm}
	many, wait := errors.AsType[tooManyError](err)
	switch {
	case wait:
		w.Header().Set("Retry-After", seconds(many.wait))
		f.wrong(http.StatusTooManyRequests, "pin", v.Say("sign.pin"), v.Say("sign.wait", v.Span(many.wait+time.Second)))
	case errors.Is(err, errBusy):
		w.Header().Set("Retry-After", seconds(busyFor))
		f.wrong(http.StatusTooManyRequests, "pin", v.Say("sign.pin"), v.Say("sign.busy"))
	default:
		f.wrong(http.StatusUnauthorized, "pin", v.Say("sign.pin"), v.Say("sign.wrong"))
	}
	page := s.newSignInPage(r, f.Value("to"))
	f.values.Del("pin")
	page.Form, page.Kept = f, f.Value("kept")
	s.write(w, r, f.status, "signin", page)
}

func (s *server) signOut(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(sessionCookie); err == nil && s.gate != nil {
		s.gate.end(c.Value)
	}
	setCookie(w, r, sessionCookie, "", -1)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (s *server) settings(w http.ResponseWriter, r *http.Request) {
	if wrong := parseForm(w, r); wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	const year = 365 * 24 * time.Hour
	setCookie(w, r, languageCookie, r.PostForm.Get("language"), year)
	setCookie(w, r, unitsCookie, r.PostForm.Get("units"), year)
	http.Redirect(w, r, safeTarget(r.PostForm.Get("to")), http.StatusSeeOther) //nolint:gosec // G710: safeTarget lets only addresses of our own through
}

// setCookie sets a cookie for this browser and this site only; scripts cannot read
// it.
func setCookie(w http.ResponseWriter, r *http.Request, name, text string, keep time.Duration) {
	http.SetCookie(w, &http.Cookie{ //nolint:gosec // G124: Secure cannot be set where the site has no TLS
		Name: name, Value: url.QueryEscape(text), Path: "/", MaxAge: int(keep.Seconds()),
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode,
	})
}

// rememberedName returns the last name given in this browser.
func rememberedName(r *http.Request) string {
	c, err := r.Cookie(nameCookie)
	if err != nil {
		return ""
	}
	name, err := url.QueryUnescape(c.Value)
	if err != nil || !order.Printable(name, order.MaxNameRunes) {
		return ""
	}
	return name
}

// may reports whether the caller may give an order of a kind. If no one signs in
// here, Writable decides.
func (s *server) may(r *http.Request, kind order.Kind) bool {
	if s.gate != nil {
		return person(r).Right.Allows(kind)
	}
	return s.Writable || order.MayLook.Allows(kind)
}

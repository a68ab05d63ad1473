package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// Options configures the page and the interface.
type Options struct {
	Site, Agent string
	Units       string // "si" or "us": for the page only
	Language    string // one of Languages: for the page only; "" is the first
	Version     string
	Aid         words.SiteAid // where help is
	// Pictures returns the last picture of each bay, in the order of the
	// configuration. Nothing may change these pictures any more. It must return at
	// once.
	Pictures func() []*bay.Picture
	// Submit hands an order to a bay's next tick and returns its result: an event of
	// kind bay.OrderTaken or bay.OrderRefused. It ends with the context. Nil refuses
	// every order.
	Submit func(ctx context.Context, bayName string, o order.Order) (bay.Event, error)
	// Healthy returns why ticks are not on time, or nil.
	Healthy func() error
	Metrics http.Handler // nil: no /metrics
	// Records returns what answers /records, /api/v1/records.csv and
	// /api/v1/records.json, read only; its pages for people stand between the head and
	// the foot of every page. Nil: there is no record.
	Records func(Frame) http.Handler
	// Others tells of the site's other agents; nil for none.
	Others Others
	// Closed returns the newest closed visits of a pack in the record, as corrected. Nil:
	// there is no record.
	Closed func(ctx context.Context, pack string) ([]ClosedVisit, error)
	// People may sign in. If there are any, no one else can see or order anything
	// but first aid, health and metrics, and a hold from the local network.
	People []Person
	// Guide has the wiring guide: wiring.md and what it shows. Nil: there is none.
	Guide fs.FS
	// Proxies may name the caller of a request in X-Forwarded-For.
	Proxies []netip.Prefix
	// Door learns whose connections are worth most; nil learns nothing.
	Door *Door
	// Past provides the last hours of each bay; nil shows none.
	Past *Past
	// SignInRefused is told of each sign-in that is refused; it must return at once. Nil
	// counts none.
	SignInRefused func()
	// Now is the clock of sign-ins; nil is time.Now.
	Now func() time.Time
	// Clock is the clock on the wall of the readings, for times of the day; nil is Now.
	Clock func() time.Time
	// Writable accepts visits, releases and the end of a hold where no one signs in.
	// It may be set only if callers are known: on the loopback address, in the demo,
	// or behind authentication. A hold is always accepted.
	Writable bool
	// WallKey lets whoever has it look at the wall's page, and at nothing else; "" for
	// nobody.
	WallKey string
	// Layouts has the rows of cells of a pack as they lie in it, seen from above, by the
	// name of the pack; 0 is a gap. A pack that is not in it is shown in plain rows.
	Layouts map[string][][]int
	// Anybody makes each page say that it takes orders from whoever reaches it: in the
	// demo on the network.
	Anybody bool
}

// server holds what all handlers share.
type server struct {
	Options
	pages   pages
	gate    *gate // nil: nobody signs in
	recent  recent
	readers readers

	record      http.Handler
	openHolding openHolding
	rounds      rounds
	passes      passes
}

// New returns the handler of the one listener.
func New(o Options) http.Handler {
	s := &server{Options: o, pages: newPages()}
	if s.Now == nil {
		s.Now = time.Now
	}
	s.openHolding.left, s.openHolding.last = map[string]float64{}, map[string]time.Time{}
	if len(o.People) > 0 {
		s.gate = newGate(o.People, s.Now)
	}
	mux := http.NewServeMux()
	s.route(mux)
	return s.guard(s.admit(mux))
}

func (s *server) route(mux *http.ServeMux) {
	mux.HandleFunc("/", s.nothing)
	mux.Handle("/{$}", only(http.MethodGet, s.overview))
	for _, name := range assets {
		mux.Handle("/"+name, only(http.MethodGet, asset("page/"+name)))
	}
	mux.Handle("/openapi.yaml", only(http.MethodGet, asset("openapi.yaml")))
	mux.Handle("/wall", only(http.MethodGet, s.wall))
	mux.Handle("/first-aid", only(http.MethodGet, s.firstAid))
	mux.Handle("/offline", only(http.MethodGet, s.offline))
	mux.Handle("/sw.js", only(http.MethodGet, s.worker))
	mux.Handle("/manifest.webmanifest", only(http.MethodGet, s.manifest))
	mux.Handle("/sheet", only(http.MethodGet, s.sheet))
	mux.Handle("/live", only(http.MethodGet, s.live))
	mux.Handle("GET /sign-in", http.HandlerFunc(s.signInForm))
	mux.Handle("POST /sign-in", http.HandlerFunc(s.signIn))
	mux.Handle("GET /hold", http.HandlerFunc(s.openHold))
	mux.Handle("POST /hold", http.HandlerFunc(s.openHoldForm))
	mux.Handle(passPath, only(http.MethodGet, s.pass))
	mux.Handle("/go/{agent}/{bay}", only(http.MethodGet, s.goThere))
	mux.Handle("/sign-out", only(http.MethodPost, s.signOut))
	mux.Handle("/settings", only(http.MethodPost, s.settings))
	mux.Handle("/healthz", only(http.MethodGet, s.healthz))
	mux.Handle("/bays/{bay}", only(http.MethodGet, s.bayPage))
	mux.Handle("GET /bays/{bay}/visit", http.HandlerFunc(s.visitSteps))
	mux.Handle("POST /bays/{bay}/visit", http.HandlerFunc(s.visitForm))
	mux.Handle("GET /bays/{bay}/closed", http.HandlerFunc(s.closed))
	mux.Handle("POST /bays/{bay}/closed", http.HandlerFunc(s.closedForm))
	mux.Handle("/bays/{bay}/past.json", only(http.MethodGet, s.pastJSON))
	mux.Handle("/bays/{bay}/hold", only(http.MethodPost, s.holdForm))
	mux.Handle("/bays/{bay}/pack", only(http.MethodPost, s.packForm))
	mux.Handle("/api/v1/bays", only(http.MethodGet, s.apiBays))
	mux.Handle("/api/v1/bays/{bay}", only(http.MethodGet, s.apiBay))
	mux.Handle("/api/v1/bays/{bay}/visit", only(http.MethodPost, s.apiVisit))
	mux.Handle("/api/v1/bays/{bay}/hold", only(http.MethodPost, s.apiHold))
	mux.Handle("/api/v1/bays/{bay}/pack", only(http.MethodPost, s.apiPack))
	if s.Records != nil {
		s.record = s.Records(s.frame)
		for _, path := range []string{"/records", "/api/v1/records.csv", "/api/v1/records.json"} {
			mux.Handle(path, only(http.MethodGet, s.records))
		}
	}
	if s.Guide != nil {
		for _, path := range []string{"/guide", "/guide/{document...}"} {
			mux.Handle(path, only(http.MethodGet, s.guide))
		}
	}
	if s.Metrics != nil {
		mux.Handle("/metrics", only(http.MethodGet, s.Metrics.ServeHTTP))
	}
}

// guard sets the security headers and refuses orders that another web site sends
// through a person's browser.
func (s *server) guard(next http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, *failed(http.StatusForbidden, "cross-origin", "the request comes from another web site; open this page itself"))
	}))
	safe := origin.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && s.gate == nil && !ownHost(r.Host) {
			s.fail(w, r, *failed(http.StatusForbidden, "foreign-host",
				"orders are taken only under an address, localhost, a name without dots or one that ends in .local"))
			return
		}
		next.ServeHTTP(w, r)
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin") // no-referrer would blank the Origin of our own forms
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		safe.ServeHTTP(w, r)
	})
}

// ownHost reports whether a host name can be ours. A foreign site could point its
// own name at this address to pass for the same origin, but such a name has dots and
// is public.
func ownHost(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSuffix(host, "."), "["), "]")
	return host != "" && (net.ParseIP(host) != nil || !strings.Contains(host, ".") || strings.HasSuffix(strings.ToLower(host), ".local"))
}

// only accepts one method; for GET it accepts HEAD too.
func only(method string, h http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == method || r.Method == http.MethodHead && method == http.MethodGet {
			h(w, r)
			return
		}
		w.Header().Set("Allow", method)
		writeProblem(w, *failed(http.StatusMethodNotAllowed, "method", r.Method+" is not accepted here: use "+method))
	})
}

// clock returns the time by the clock on the wall.
func (s *server) clock() time.Time {
	if s.Clock != nil {
		return s.Clock()
	}
	return s.Now()
}

func (s *server) healthz(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := s.healthy(); err != nil {
		w.WriteHeader(http.StatusServiceUnavailable)
		fmt.Fprintln(w, err)
		return
	}
	fmt.Fprintln(w, "ok")
}

func (s *server) healthy() error {
	if s.Healthy == nil {
		return errors.New("the ticks are not monitored")
	}
	return s.Healthy()
}

func (s *server) nothing(w http.ResponseWriter, r *http.Request) {
	s.fail(w, r, *failed(http.StatusNotFound, "not-found", "there is nothing at this address; the page is at /, the interface at /api/v1/bays"))
}

// find returns the picture of the bay named in the address.
func (s *server) find(r *http.Request) (*bay.Picture, *problem) {
	name := r.PathValue("bay")
	for _, p := range s.Pictures() {
		if p != nil && p.Bay == name {
			return p, nil
		}
	}
	return nil, failed(http.StatusNotFound, "no-such-bay", "no bay has this name; /api/v1/bays lists them")
}

func when(ok bool, s string) string {
	if ok {
		return s
	}
	return ""
}

package main

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/netip"
	"slices"
	"time"
)

const (
	day = 24 * time.Hour
	// authorityDays is how long an authority lasts.
	authorityDays = 3650
	// early is how long before now a certificate begins, for clocks that are behind.
	early = day
)

// authority signs certificates. Its key stays when it is renewed, so that whoever trusts
// the certificate from before goes on trusting what it signs.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	days int // how long what it signs lasts
}

// pair is a certificate with its key, in PEM.
type pair struct{ cert, key []byte }

// names are the host names and addresses of a certificate.
type names []string

func (n names) split() (hosts []string, ips []net.IP) {
	for _, name := range n {
		if a, err := netip.ParseAddr(name); err == nil {
			ips = append(ips, a.AsSlice())
		} else {
			hosts = append(hosts, name)
		}
	}
	return hosts, ips
}

// open returns the authority at a path of the output. It keeps the one from the last run
// as long as it outlasts what it signs and has the wanted limits.
func (o *output) open(path string, want *x509.Certificate, days int) (*authority, error) {
	old := pair{o.kept(path + ".pem"), o.kept(path + "-key.pem")}
	key, err := keyOf(old.key)
	if err != nil {
		return nil, fmt.Errorf("%s-key.pem: %w", path, err)
	}
	want.BasicConstraintsValid, want.IsCA, want.MaxPathLenZero = true, true, true
	want.KeyUsage = x509.KeyUsageCertSign | x509.KeyUsageCRLSign
	cert := certOf(old.cert)
	lasts := time.Duration(days+o.renewDays) * day
	if cert == nil || !key.PublicKey.Equal(cert.PublicKey) || o.now.Add(lasts).After(cert.NotAfter) || !sameLimits(cert, want) {
		der, err := sign(want, want, key.Public(), key, o.now, authorityDays)
		if err != nil {
			return nil, fmt.Errorf("%s.pem: %w", path, err)
		}
		old.cert = encode("CERTIFICATE", der)
		cert = certOf(old.cert)
		o.news = append(o.news, fmt.Sprintf("%s.pem: made until %s; give it to everyone who trusts it", path, cert.NotAfter.UTC().Format(time.DateOnly)))
	}
	if old.key, err = keyPEM(key); err != nil {
		return nil, err
	}
	o.add(path+".pem", old.cert)
	o.secret(path+"-key.pem", old.key)
	return &authority{cert, key, days}, nil
}

// sameLimits reports whether two authorities may sign the same names.
func sameLimits(a, b *x509.Certificate) bool {
	limits := func(c *x509.Certificate) string {
		return fmt.Sprintf("%q %v %q %v", c.PermittedDNSDomains, c.PermittedIPRanges, c.ExcludedDNSDomains, c.ExcludedIPRanges)
	}
	return limits(a) == limits(b)
}

// certificate puts a certificate and its key at a path of the output. It keeps those of
// the last run until the certificate is near its end or is for something else; a key
// that is there is kept in any case, so that certificate and key never contradict each
// other while they are being copied.
func (o *output) certificate(a *authority, path, name string, use x509.ExtKeyUsage, hosts names) error {
	old := pair{o.kept(path + ".pem"), o.kept(path + "-key.pem")}
	key, err := keyOf(old.key)
	if err != nil {
		return fmt.Errorf("%s-key.pem: %w", path, err)
	}
	want := &x509.Certificate{
		Subject: pkix.Name{CommonName: name}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{use}, BasicConstraintsValid: true,
	}
	want.DNSNames, want.IPAddresses = hosts.split()
	if c := certOf(old.cert); c == nil || !o.stillGood(a, c, want, key) {
		der, err := sign(want, a.cert, key.Public(), a.key, o.now, a.days)
		if err != nil {
			return fmt.Errorf("%s.pem: %w", path, err)
		}
		old.cert = encode("CERTIFICATE", der)
		o.news = append(o.news, fmt.Sprintf("%s.pem: made until %s", path, certOf(old.cert).NotAfter.UTC().Format(time.DateOnly)))
	}
	if old.key, err = keyPEM(key); err != nil {
		return err
	}
	o.add(path+".pem", old.cert)
	o.secret(path+"-key.pem", old.key)
	return nil
}

// stillGood reports whether a certificate is what is wanted and does not end soon.
func (o *output) stillGood(a *authority, c, want *x509.Certificate, key *ecdsa.PrivateKey) bool {
	ips := func(a, b net.IP) bool { return a.Equal(b) }
	return key.PublicKey.Equal(c.PublicKey) && c.CheckSignatureFrom(a.cert) == nil &&
		c.Subject.CommonName == want.Subject.CommonName && slices.Equal(c.ExtKeyUsage, want.ExtKeyUsage) &&
		slices.Equal(c.DNSNames, want.DNSNames) && slices.EqualFunc(c.IPAddresses, want.IPAddresses, ips) &&
		!o.now.Before(c.NotBefore) && c.NotAfter.Sub(o.now) > time.Duration(o.renewDays)*day &&
		c.NotAfter.Sub(c.NotBefore) <= time.Duration(a.days)*day+early
}

// sign makes a certificate of so many days.
func sign(c, by *x509.Certificate, public crypto.PublicKey, key *ecdsa.PrivateKey, now time.Time, days int) (der []byte, err error) {
	if c.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)); err != nil {
		return nil, err
	}
	c.NotBefore, c.NotAfter = now.Add(-early).UTC(), now.Add(time.Duration(days)*day-early).UTC()
	return x509.CreateCertificate(rand.Reader, c, by, public, key)
}

// keyOf reads a key, or makes one where there is none.
func keyOf(text []byte) (*ecdsa.PrivateKey, error) {
	if len(text) == 0 {
		return ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, errors.New("no PEM in it; delete the file to have another key made")
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if key, ok := parsed.(*ecdsa.PrivateKey); ok && err == nil {
		return key, nil
	}
	return nil, errors.New("no ECDSA key in it; delete the file to have another made")
}

func keyPEM(key *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	return encode("PRIVATE KEY", der), err
}

// certOf reads a certificate, nil for none.
func certOf(text []byte) *x509.Certificate {
	block, rest := pem.Decode(text)
	if block == nil || len(bytes.TrimSpace(rest)) > 0 {
		return nil
	}
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		return nil
	}
	return c
}

func encode(kind string, der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
}

// limits are the names for which the pages' authority may sign, and no others.
func (c *certificates) limits() *x509.Certificate {
	want := &x509.Certificate{
		Subject:                     pkix.Name{CommonName: "bayward pages"},
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: c.Domains,
	}
	for _, n := range c.Networks {
		p, err := netip.ParsePrefix(n)
		if err != nil {
			continue // the check has complained
		}
		want.PermittedIPRanges = append(want.PermittedIPRanges, ipNet(p))
	}
	// A kind of name without any permitted one would be free (RFC 5280, section 4.2.1.10).
	if len(c.Domains) == 0 {
		want.ExcludedDNSDomains = []string{""}
	}
	if len(c.Networks) == 0 {
		want.ExcludedIPRanges = []*net.IPNet{ipNet(netip.MustParsePrefix("0.0.0.0/0")), ipNet(netip.MustParsePrefix("::/0"))}
	}
	return want
}

func ipNet(p netip.Prefix) *net.IPNet {
	return &net.IPNet{IP: p.Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())}
}

package mqtt

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"bayward/agent/order"
)

// Person may give signed orders. The agent holds none of their secrets: someone
// who reads the agent's files cannot send orders in their name.
type Person struct {
	Name  string            // 1 to 60 printable characters; the key id of their signatures
	Key   ed25519.PublicKey // see ReadKey
	Right order.Right
}

// ReadKey reads an Ed25519 public key from a PEM file, as
// "openssl pkey -pubout" writes it.
func ReadKey(path string) (ed25519.PublicKey, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read a person's key: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("read a person's key: %s contains no PEM: make the file with openssl pkey -pubout", path)
	}
	if strings.Contains(block.Type, "PRIVATE") {
		return nil, fmt.Errorf("read a person's key: %s contains a private key, which only that person may have: make the file with openssl pkey -pubout", path)
	}
	parsed, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read a person's key: %s: %w", path, err)
	}
	key, ok := parsed.(ed25519.PublicKey)
	if !ok {
		return nil, fmt.Errorf("read a person's key: %s contains another kind of key: make an Ed25519 key with openssl genpkey -algorithm ed25519", path)
	}
	return key, nil
}

func checkPeople(people []Person) error {
	seen := map[string]bool{}
	for _, p := range people {
		switch {
		case !order.Printable(p.Name, order.MaxNameRunes):
			return fmt.Errorf("mqtt: person %q: the name must be 1 to %d printable characters", p.Name, order.MaxNameRunes)
		case len(p.Key) != ed25519.PublicKeySize:
			return fmt.Errorf("mqtt: person %q has no key", p.Name)
		case seen[p.Name]:
			return fmt.Errorf("mqtt: two people have the name %q", p.Name)
		}
		seen[p.Name] = true
	}
	return nil
}

// open reports whether an order needs no more than access to the broker: it can
// only block a charge, or asks for what every reader may see.
func (c *command) open() bool { return order.MayLook.Allows(c.Kind) || c.name == askState }

// jws is a signed command: a compact JSON Web Signature (RFC 7515, section 3.1)
// of the same object as in an open command.
type jws struct {
	signed    string // the signed text
	signature []byte
	payload   []byte
	keyID     string
}

// algorithms are the names of Ed25519: RFC 8037, section 3.1, and RFC 9864, section 2.2.
var algorithms = []string{"EdDSA", "Ed25519"}

// unpack takes a signed command apart. Nothing is proven yet.
func unpack(compact string) (j jws, wrong *refusal) {
	parts := strings.Split(compact, ".")
	if len(parts) != 3 {
		return j, refuse(BadSignature, "field jws must have three parts joined by dots: header, payload and signature (RFC 7515, compact form)")
	}
	decode := base64.RawURLEncoding.Strict().DecodeString
	header, err1 := decode(parts[0])
	payload, err2 := decode(parts[1])
	signature, err3 := decode(parts[2])
	if errors.Join(err1, err2, err3) != nil {
		return j, refuse(BadSignature, "field jws: a part is not base64url without padding (RFC 7515, section 2)")
	}
	j = jws{parts[0] + "." + parts[1], signature, payload, ""}
	return j, j.readHeader(header)
}

// readHeader refuses a header that could change the meaning of a signature.
func (j *jws) readHeader(header []byte) *refusal {
	var alg, typ string
	fields := map[string]field{
		"alg": {&alg, "EdDSA"}, "kid": {&j.keyID, "the person's name"}, "typ": {&typ, "JWT or JOSE"},
	}
	if wrong := readObject(header, fields, map[string]bool{}); wrong != nil {
		return refuse(BadSignature, "the header of field jws: %s", wrong.text)
	}
	if !slices.Contains(algorithms, alg) {
		return refuse(BadSignature, "the header of field jws: alg %s is not accepted: must be EdDSA with an Ed25519 key", short(alg))
	}
	return nil
}

// signer returns the person whose signature it is. The refusal does not reveal
// whether there is such a person.
func (j *jws) signer(people []Person) (*Person, *refusal) {
	for i := range people {
		if people[i].Name == j.keyID && ed25519.Verify(people[i].Key, []byte(j.signed), j.signature) {
			return &people[i], nil
		}
	}
	return nil, refuse(BadSignature, "the signature is not from a person that this agent knows")
}

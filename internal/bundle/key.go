package bundle

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"io"
	"os"
)

// Hints that stand in an error's line.
const (
	makeKey    = "make one with 'openssl genpkey -algorithm ed25519 -out key.pem'"
	makePublic = "'openssl pkey -in key.pem -pubout -out public.pem' makes one of a private key"
)

// mostKey bounds a key file.
const mostKey = 64 << 10

// LoadKey reads a private Ed25519 key: PEM, PKCS #8 (RFC 8410), as openssl
// makes it. The error is one line that says what was found.
func LoadKey(file string) (ed25519.PrivateKey, error) {
	bad := func(found string) error {
		return fmt.Errorf("%s: found %s, expected a private Ed25519 key as PEM; %s", file, found, makeKey)
	}
	block, err := readPEM(file)
	if err != nil {
		return nil, err
	}
	if block == nil {
		return nil, bad("no PEM block")
	}
	switch block.Type {
	case "PRIVATE KEY":
	case "ENCRYPTED PRIVATE KEY":
		return nil, bad("a key locked with a passphrase, which cannot be used here")
	case "PUBLIC KEY":
		return nil, bad("a public key")
	default:
		return nil, bad(fmt.Sprintf("%.40q", block.Type))
	}
	k, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, bad("a private key that cannot be read")
	}
	key, ok := k.(ed25519.PrivateKey)
	if !ok {
		return nil, bad("a private key of another kind")
	}
	return key, nil
}

// LoadPublic reads a public Ed25519 key: PEM, SubjectPublicKeyInfo (RFC 8410).
func LoadPublic(file string) (ed25519.PublicKey, error) {
	block, err := readPEM(file)
	if err != nil {
		return nil, err
	}
	key, why := parsePublic(block)
	if why != "" {
		return nil, fmt.Errorf("%s: found %s, expected a public Ed25519 key as PEM; %s", file, why, makePublic)
	}
	return key, nil
}

// parsePublic reads a public key; why is what was found instead.
func parsePublic(block *pem.Block) (key ed25519.PublicKey, why string) {
	switch {
	case block == nil:
		return nil, "no PEM block"
	case block.Type == "PRIVATE KEY", block.Type == "ENCRYPTED PRIVATE KEY":
		return nil, "a private key"
	case block.Type != "PUBLIC KEY":
		return nil, fmt.Sprintf("%.40q", block.Type)
	}
	k, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, "a public key that cannot be read"
	}
	key, ok := k.(ed25519.PublicKey)
	if !ok {
		return nil, "a public key of another kind"
	}
	return key, ""
}

func readPEM(file string) (*pem.Block, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("key %s: %w", file, bare(err))
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostKey))
	if err != nil {
		return nil, fmt.Errorf("key %s: %w", file, bare(err))
	}
	block, _ := pem.Decode(text)
	return block, nil
}

// publicPEM is a public key as signer.pem holds it.
func publicPEM(k ed25519.PublicKey) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: publicDER(k)})
}

func publicDER(k ed25519.PublicKey) []byte {
	der, err := x509.MarshalPKIXPublicKey(k)
	if err != nil {
		panic(err) // of a key of this type there is none
	}
	return der
}

// Fingerprint names a public key: the SHA-256 sum of its DER form, hex.
func Fingerprint(k ed25519.PublicKey) string {
	sum := sha256.Sum256(publicDER(k))
	return hex.EncodeToString(sum[:])
}

// readSigner reads signer.pem. Only the one way of writing a key is taken, so
// that no byte of it can change unseen.
func readSigner(text []byte) (ed25519.PublicKey, error) {
	block, _ := pem.Decode(text)
	key, why := parsePublic(block)
	if why != "" {
		return nil, fmt.Errorf("found %s, expected a public Ed25519 key", why)
	}
	if !bytes.Equal(text, publicPEM(key)) {
		return nil, fmt.Errorf("not as this program writes a key")
	}
	return key, nil
}

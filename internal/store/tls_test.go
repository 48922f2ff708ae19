package store

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

// signer is an invented authority of the tests.
type signer struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	pem  string
}

func newSigner(t *testing.T) *signer {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	like := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "an invented authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, like, like, &key.PublicKey, key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	return &signer{cert, key, asPEM("CERTIFICATE", der)}
}

func asPEM(kind string, der []byte) string {
	return string(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}))
}

// sign makes a certificate and its key.
func (s *signer) sign(t *testing.T, name string) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	like := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, like, s.cert, &k.PublicKey, s.key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	return asPEM("CERTIFICATE", der), asPEM("PRIVATE KEY", secret)
}

// overTLS starts a server that speaks TLS and wants to see a certificate.
func overTLS(t *testing.T, s *signer) (address string) {
	t.Helper()
	dir := t.TempDir()
	cert, key := s.sign(t, "an invented server")
	for name, text := range map[string]string{"ca": s.pem, "cert": cert, "key": key} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address = l.Addr().String()
	_, port, _ := net.SplitHostPort(address)
	require.NoError(t, l.Close())
	redistest.Start(t, "--tls-port", port, "--tls-ca-cert-file", filepath.Join(dir, "ca"),
		"--tls-cert-file", filepath.Join(dir, "cert"), "--tls-key-file", filepath.Join(dir, "key"), "--tls-auth-clients", "yes")
	return address
}

func TestRedisOverTLS(t *testing.T) {
	t.Parallel()
	ours, theirs := newSigner(t), newSigner(t)
	address := overTLS(t, ours)
	cert, key := ours.sign(t, "an invented client")
	strange, strangeKey := theirs.sign(t, "an invented stranger")
	for name, c := range map[string]struct {
		url  string
		tls  TLS
		fine bool
	}{
		"both sides known":              {"rediss://" + address, TLS{CA: ours.pem, Cert: cert, Key: key}, true},
		"a server signed by another":    {"rediss://" + address, TLS{CA: theirs.pem, Cert: cert, Key: key}, false},
		"a server the system knows not": {"rediss://" + address, TLS{Cert: cert, Key: key}, false},
		"no certificate of ours":        {"rediss://" + address, TLS{CA: ours.pem}, false},
		"a certificate of a stranger":   {"rediss://" + address, TLS{CA: ours.pem, Cert: strange, Key: strangeKey}, false},
		"in the clear":                  {"redis://" + address, TLS{}, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			client, err := NewTLSClient(c.url, c.tls)
			require.NoError(t, err)
			defer client.Close()
			s, err := Open(context.Background(), Options{Client: client, Hasher: hasher(t, secret)})
			if !c.fine {
				require.Error(t, err)
				return
			}
			require.NoError(t, err)
			s.turn = plainTurn
			do(t, s, ruth, enrols(ruth))
			l, err := s.Load(context.Background(), "hillside", s.ID("hillside", ruth))
			require.NoError(t, err)
			require.Equal(t, Direct, l.Found)
		})
	}
}

func TestCertificatesThatCantBeUsedAreSaid(t *testing.T) {
	t.Parallel()
	ours := newSigner(t)
	cert, key := ours.sign(t, "one")
	_, other := ours.sign(t, "two")
	for name, c := range map[string]struct {
		url  string
		tls  TLS
		want error
	}{
		"not TLS at all":      {"redis://127.0.0.1:1", TLS{CA: ours.pem}, ErrTLSUnused},
		"no PEM":              {"rediss://127.0.0.1:1", TLS{CA: "/etc/ca.pem"}, ErrTLSCA},
		"a certificate alone": {"rediss://127.0.0.1:1", TLS{Cert: cert}, ErrTLSCert},
		"another's key":       {"rediss://127.0.0.1:1", TLS{Cert: cert, Key: other}, ErrTLSCert},
		"a cluster":           {"redis://127.0.0.1:1?addr=127.0.0.1:2", TLS{Cert: cert, Key: key}, ErrTLSUnused},
		"Sentinel":            {"rediss://127.0.0.1:1?master_name=m", TLS{CA: "x"}, ErrTLSCA},
	} {
		_, err := NewTLSClient(c.url, c.tls)
		require.ErrorIs(t, err, c.want, name)
	}
	for _, url := range []string{"rediss://127.0.0.1:1?addr=127.0.0.1:2", "rediss://127.0.0.1:1?master_name=m"} {
		client, err := NewTLSClient(url, TLS{CA: ours.pem, Cert: cert, Key: key})
		require.NoError(t, err)
		require.NoError(t, client.Close())
	}
}

package notifytest

import (
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
)

// PKI is a certificate authority of a test's own, which writes PEM files into a folder of the test's own.
type PKI struct {
	// CA is the file of the authority's certificate.
	CA   string
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	n    int64
}

// NewPKI makes an authority.
func NewPKI(t *testing.T) *PKI {
	p := &PKI{dir: t.TempDir(), n: 1}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	p.cert = &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "authority " + filepath.Base(p.dir) + " of " + t.Name()}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
	}
	p.key = key
	p.CA, _ = p.write(t, "ca", p.cert, key)
	return p
}

// Issue makes a certificate for a host name or an IP address, valid for as long from now; a negative time has expired.
func (p *PKI) Issue(t *testing.T, host string, valid time.Duration) (certFile, keyFile string) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	p.n++
	c := &x509.Certificate{
		SerialNumber: big.NewInt(p.n), Subject: pkix.Name{CommonName: host},
		NotBefore: time.Now().Add(min(0, valid) - time.Hour), NotAfter: time.Now().Add(valid),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if ip := net.ParseIP(host); ip != nil {
		c.IPAddresses = []net.IP{ip}
	} else {
		c.DNSNames = []string{host}
	}
	return p.write(t, host+c.SerialNumber.String(), c, key)
}

func (p *PKI) write(t *testing.T, name string, c *x509.Certificate, key *ecdsa.PrivateKey) (certFile, keyFile string) {
	der, err := x509.CreateCertificate(rand.Reader, c, p.cert, &key.PublicKey, p.key)
	require.NoError(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	certFile, keyFile = filepath.Join(p.dir, name+".pem"), filepath.Join(p.dir, name+".key")
	require.NoError(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600))
	return certFile, keyFile
}

package notify

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
)

// TLS is the configuration for a peer whose certificate is signed by an authority in caFile, to whom certFile and
// keyFile, if given, are shown. All are PEM files. Without any it is nil, which stands for the system's authorities.
func TLS(caFile, certFile, keyFile string) (*tls.Config, error) {
	if caFile == "" && certFile == "" && keyFile == "" {
		return nil, nil
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if caFile != "" {
		pem, err := os.ReadFile(caFile)
		if err != nil {
			return nil, fmt.Errorf("ca_file: %w", err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("ca_file %s holds no certificate in PEM form", caFile)
		}
	}
	if (certFile == "") != (keyFile == "") {
		return nil, errors.New("cert_file and key_file are needed together")
	}
	if certFile != "" {
		pair, err := tls.LoadX509KeyPair(certFile, keyFile)
		if err != nil {
			return nil, fmt.Errorf("cert_file %s with key_file %s: %w", certFile, keyFile, err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

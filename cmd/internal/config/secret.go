package config

import (
	"bytes"
	"fmt"
	"os"
)

// ReadSecret returns the first line of a file that holds a password or a token. It refuses a file that every user of
// the machine may read.
func ReadSecret(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", fmt.Errorf("read secret: %w", err)
	}
	if info.Mode().Perm()&0o007 != 0 {
		return "", &Error{Msg: fmt.Sprintf("secret %s can be read by everyone", path), Remedy: "chmod 0640 " + path}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read secret: %w", err)
	}
	line, _, _ := bytes.Cut(data, []byte("\n"))
	line = bytes.TrimRight(line, "\r")
	if len(line) == 0 {
		return "", &Error{Msg: fmt.Sprintf("secret %s has no first line", path), Remedy: "write the password or token on its first line"}
	}
	return string(line), nil
}

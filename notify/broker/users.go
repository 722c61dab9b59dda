package broker

import (
	"bufio"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha512"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Users are names with the digests of their passwords.
type Users map[string]digest

type digest struct {
	iterations int
	salt, key  []byte
}

const (
	// iterations for new passwords; mosquitto's tools use 101 by default.
	iterations = 10_000
	// mostIterations bounds what one attempt to connect can cost.
	mostIterations = 1_000_000
)

// ReadUsers reads a password file of one "name:$7$iterations$salt$digest" a line: PBKDF2 with SHA-512, salt and digest
// in base64, the format of mosquitto's password files, so that mosquitto_passwd can write it.
func ReadUsers(r io.Reader) (Users, error) {
	users := Users{}
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, rest, ok := strings.Cut(line, ":")
		d, err := parseDigest(rest)
		if !ok || name == "" {
			err = fmt.Errorf("not of the form name:$7$iterations$salt$digest")
		}
		if err != nil {
			return nil, fmt.Errorf("password file, line %d: %w: write it with mosquitto_passwd -H sha512-pbkdf2 FILE NAME", n, err)
		}
		users[name] = d
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("password file: %w", err)
	}
	return users, nil
}

func parseDigest(s string) (digest, error) {
	fields := strings.Split(s, "$")
	if len(fields) != 5 || fields[0] != "" || fields[1] != "7" {
		return digest{}, fmt.Errorf("the password is not a PBKDF2 digest")
	}
	n, err := strconv.Atoi(fields[2])
	if err != nil || n < 1 || n > mostIterations {
		return digest{}, fmt.Errorf("%q is no count of iterations", fields[2])
	}
	salt, err1 := base64.StdEncoding.DecodeString(fields[3])
	key, err2 := base64.StdEncoding.DecodeString(fields[4])
	if err1 != nil || err2 != nil || len(salt) == 0 || len(key) != sha512.Size {
		return digest{}, fmt.Errorf("salt or digest is damaged")
	}
	return digest{n, salt, key}, nil
}

// PasswordLine is a line of a password file.
func PasswordLine(name, password string) (string, error) {
	if name == "" || strings.ContainsAny(name, ":\r\n") {
		return "", fmt.Errorf("user %q: a name must not be empty, nor hold a colon or a line break", name)
	}
	salt := make([]byte, 16)
	rand.Read(salt) // never fails
	key, err := pbkdf2.Key(sha512.New, password, salt, iterations, sha512.Size)
	if err != nil {
		return "", fmt.Errorf("digest of the password: %w", err)
	}
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("%s:$7$%d$%s$%s", name, iterations, b64(salt), b64(key)), nil
}

// admit reports whether the password is that of the user.
func (u Users) admit(name string, password []byte) bool {
	d, ok := u[name]
	if !ok {
		return false
	}
	key, err := pbkdf2.Key(sha512.New, string(password), d.salt, d.iterations, sha512.Size)
	return err == nil && subtle.ConstantTimeCompare(key, d.key) == 1
}

// ownID begins the client ids that daemons use.
const ownID = "nightjar-"

// credential is how the daemon signs in at its own broker.
type credential struct {
	user, password string
}

func newCredential() credential {
	// A user of a password file cannot hold a colon.
	return credential{"own:" + rand.Text(), rand.Text()}
}

func (c credential) is(user, password []byte) bool {
	return subtle.ConstantTimeCompare(user, []byte(c.user))&subtle.ConstantTimeCompare(password, []byte(c.password)) == 1
}

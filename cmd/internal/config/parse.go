package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/pelletier/go-toml/v2"
)

// maxBytes is more than any sensible configuration has.
const maxBytes = 1 << 20

// file is the configuration as written. Keys that were left out are nil.
type file struct {
	Device struct {
		Name *string `toml:"name"`
	} `toml:"device"`
	Store struct {
		Path      *string `toml:"path"`
		FlushRun  *string `toml:"flush_run"`
		FlushIdle *string `toml:"flush_idle"`
	} `toml:"store"`
	MQTT struct {
		Broker       *string `toml:"broker"`
		Listen       *string `toml:"listen"`
		User         *string `toml:"user"`
		PasswordFile *string `toml:"password_file"`
		CAFile       *string `toml:"ca_file"`
		CertFile     *string `toml:"cert_file"`
		KeyFile      *string `toml:"key_file"`
		UsersFile    *string `toml:"users_file"`
		Discovery    *string `toml:"discovery"`
		KeepAlive    *string `toml:"keep_alive"`
	} `toml:"mqtt"`
	Web struct {
		Socket *string `toml:"socket"`
	} `toml:"web"`
	Alerts struct {
		Soon      *string `toml:"soon"`
		Repeat    *string `toml:"repeat"`
		Rings     *int    `toml:"rings"`
		QuietFrom *string `toml:"quiet_from"`
		QuietTo   *string `toml:"quiet_to"`
		Bedtime   *string `toml:"bedtime"`
		Buzzer    *string `toml:"buzzer"`
	} `toml:"alerts"`
	Stations []fileStation `toml:"station"`
	Pushes   []filePush    `toml:"push"`
}

type fileStation struct {
	Name       *string `toml:"name"`
	Chip       *string `toml:"chip"`
	Bus        *int    `toml:"bus"`
	Mux        *string `toml:"mux"`
	Address    *int    `toml:"address"`
	XSHUT      *string `toml:"xshut"`
	Interrupt  *string `toml:"interrupt"`
	Window     *bool   `toml:"window"`
	Ranges     *int    `toml:"ranges"`
	Budget     *string `toml:"budget"`
	Every      *string `toml:"every"`
	JarProbe   *string `toml:"jar_probe"`
	DoughProbe *string `toml:"dough_probe"`
	RoomProbe  *string `toml:"room_probe"`
}

type filePush struct {
	Name      *string           `toml:"name"`
	URL       *string           `toml:"url"`
	Format    *string           `toml:"format"`
	Body      *string           `toml:"body"`
	Topic     *string           `toml:"topic"`
	Headers   map[string]string `toml:"headers"`
	TokenFile *string           `toml:"token_file"`
	CAFile    *string           `toml:"ca_file"`
}

// ParseConfig reads and checks a configuration. It fills in every default. What is wrong is an *Error.
func ParseConfig(r io.Reader) (Config, error) {
	document, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return Config{}, fmt.Errorf("read configuration: %w", err)
	}
	if len(document) > maxBytes {
		return Config{}, &Error{Msg: "larger than 1 MB", Remedy: "this is not a nightjar configuration"}
	}
	var f file
	if err := toml.NewDecoder(bytes.NewReader(document)).DisallowUnknownFields().Decode(&f); err != nil {
		return Config{}, decodeError(err)
	}
	c := checker{lines: lines(document)}
	cfg := c.config(f)
	if c.err != nil {
		return Config{}, c.err
	}
	return cfg, nil
}

// Load is ParseConfig of a file. An absent file is the default configuration unless it is required.
func Load(path string, required bool) (Config, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) && !required {
		return Default(), nil
	}
	if err != nil {
		return Config{}, err
	}
	defer f.Close()
	cfg, err := ParseConfig(f)
	if err != nil {
		return Config{}, fmt.Errorf("%s: %w", path, err)
	}
	return cfg, nil
}

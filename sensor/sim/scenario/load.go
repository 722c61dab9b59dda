package scenario

import (
	"errors"
	"fmt"
	"io"
	"time"

	"nightjar/sensor/sim/dough"

	"github.com/pelletier/go-toml/v2"
)

// span is a duration written as "1h30m".
type span time.Duration

// UnmarshalText implements encoding.TextUnmarshaler.
func (d *span) UnmarshalText(text []byte) error {
	v, err := time.ParseDuration(string(text))
	if err == nil && v < 0 {
		err = errors.New("a time span cannot be negative")
	}
	*d = span(v)
	return err
}

// The file's tables. Pointers tell what stands in the file from what does not.
type (
	fileScenario struct {
		Name       string         `toml:"name"`
		Seed       uint64         `toml:"seed"`
		Start      time.Time      `toml:"start"`
		Length     *span          `toml:"length"`
		Target     *float64       `toml:"target"`
		Room       []fileClimate  `toml:"room"`
		Thermostat fileThermostat `toml:"thermostat"`
		RoomSensor string         `toml:"room_sensor"`
		Stations   []fileStation  `toml:"station"`
		Faults     []fileFault    `toml:"fault"`
	}
	fileClimate struct {
		At span     `toml:"at"`
		C  *float64 `toml:"c"`
		RH *float64 `toml:"rh"`
	}
	fileThermostat struct {
		SwingC float64 `toml:"swing_c"`
		Period span    `toml:"period"`
	}
	fileStation struct {
		Name       *string    `toml:"name"`
		Chip       *string    `toml:"chip"`
		Bus        *int       `toml:"bus"`
		Mux        *uint16    `toml:"mux"`
		Channel    *int       `toml:"channel"`
		Address    *uint16    `toml:"address"`
		JarProbe   *string    `toml:"jar_probe"`
		DoughProbe *string    `toml:"dough_probe"`
		RoomProbe  *string    `toml:"room_probe"`
		OldKernel  *bool      `toml:"old_kernel"`
		Jar        fileJar    `toml:"jar"`
		Dough      fileDough  `toml:"dough"`
		Optics     fileOptics `toml:"optics"`
	}
	fileJar struct {
		Name       *string  `toml:"name"`
		FloorMM    *float64 `toml:"floor_mm"`
		ErrorMM    *float64 `toml:"error_mm"`
		UFloorMM   *float64 `toml:"u_floor_mm"`
		DiameterMM *float64 `toml:"diameter_mm"`
	}
	fileOptics struct {
		Reflect     *float64 `toml:"reflect"`
		AmbientMcps *float64 `toml:"ambient_mcps"`
		WallMM      *float64 `toml:"wall_mm"`
		OffsetMM    *float64 `toml:"offset_mm"`
		DriftMMPerC *float64 `toml:"drift_mm_per_c"`
		Quiet       *bool    `toml:"quiet"`
	}
	fileDough struct {
		Mixed       span     `toml:"mixed"`
		Mechanism   *string  `toml:"mechanism"`
		Seed        *uint64  `toml:"seed"`
		GasLPerKgH  *float64 `toml:"gas_l_per_kg_h"`
		GrowthPerH  *float64 `toml:"growth_per_h"`
		MinC        *float64 `toml:"min_c"`
		OptC        *float64 `toml:"opt_c"`
		MaxC        *float64 `toml:"max_c"`
		LagH0       *float64 `toml:"lag_h0"`
		Tolerance   *float64 `toml:"tolerance"`
		SaltFactor  *float64 `toml:"salt_factor"`
		SugarPct    *float64 `toml:"sugar_pct"`
		MaltosePctH *float64 `toml:"maltose_pct_h"`
		Strength    *float64 `toml:"strength"`
		DomePct     *float64 `toml:"dome_pct"`
		Inoculation *float64 `toml:"inoculation_pct"`
		Hydration   *float64 `toml:"hydration_pct"`
		SaltPct     *float64 `toml:"salt_pct"`
		Vigour      *float64 `toml:"vigour"`
		Lag         *float64 `toml:"lag"`
		AirPct      *float64 `toml:"air_pct"`
		StartC      *float64 `toml:"start_c"`
		BaseMM      *float64 `toml:"base_mm"`
		SlumpPct    *float64 `toml:"slump_pct"`
		SlumpH      *float64 `toml:"slump_h"`
		SampleH     *float64 `toml:"sample_h"`
		MainH       *float64 `toml:"main_h"`
	}
	fileFault struct {
		At      span     `toml:"at"`
		For     span     `toml:"for"`
		Kind    string   `toml:"kind"`
		Station string   `toml:"station"`
		Probe   string   `toml:"probe"`
		MM      *float64 `toml:"mm"`
		Mcps    *float64 `toml:"mcps"`
	}
)

// Load reads a scenario and checks it. Unknown keys are refused. Errors name the line where the file itself is wrong,
// and the station or the fault where a value is.
func Load(r io.Reader) (Scenario, error) {
	var f fileScenario
	d := toml.NewDecoder(r).DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return Scenario{}, explain(err)
	}
	s := f.scenario()
	if err := s.Check(); err != nil {
		return Scenario{}, fmt.Errorf("scenario: %w", err)
	}
	return s, nil
}

// explain puts the line before what is wrong with a file.
func explain(err error) error {
	if unknown, ok := errors.AsType[*toml.StrictMissingError](err); ok && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		row, _ := e.Position()
		return fmt.Errorf("scenario: line %d: unknown key %q", row, e.Key()[len(e.Key())-1])
	}
	if wrong, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, col := wrong.Position()
		return fmt.Errorf("scenario: line %d, column %d: %w", row, col, err)
	}
	return fmt.Errorf("scenario: %w", err)
}

// set overwrites a default where the file says something.
func set[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

func (f fileScenario) scenario() Scenario {
	s := Scenario{
		Name: f.Name, Seed: f.Seed, Start: f.Start.UTC(), Length: 16 * time.Hour, Target: 2,
		SwingC: f.Thermostat.SwingC, Period: time.Duration(f.Thermostat.Period), RoomSensor: f.RoomSensor,
	}
	set(&s.Length, (*time.Duration)(f.Length))
	set(&s.Target, f.Target)
	for _, c := range f.Room {
		r := Climate{At: time.Duration(c.At), C: 21, RH: 50}
		set(&r.C, c.C)
		set(&r.RH, c.RH)
		s.Room = append(s.Room, r)
	}
	for i, st := range f.Stations {
		s.Setups = append(s.Setups, st.setup(s.Seed+uint64(i)))
	}
	for _, ft := range f.Faults {
		s.Faults = append(s.Faults, ft.fault())
	}
	return s
}

func (f fileStation) setup(seed uint64) Setup {
	s := defaultSetup()
	s.Dough.Seed = seed
	set(&s.Name, f.Name)
	set(&s.Chip, f.Chip)
	set(&s.Bus, f.Bus)
	set(&s.Mux, f.Mux)
	set(&s.Channel, f.Channel)
	set(&s.Address, f.Address)
	set(&s.JarProbe, f.JarProbe)
	set(&s.DoughProbe, f.DoughProbe)
	set(&s.RoomProbe, f.RoomProbe)
	set(&s.OldKernel, f.OldKernel)
	s.Mixed = time.Duration(f.Dough.Mixed)
	f.Jar.fill(&s.Jar)
	f.Optics.fill(&s.Optics)
	f.Dough.fill(&s.Dough)
	return s
}

func (f fileJar) fill(j *Jar) {
	set(&j.Name, f.Name)
	set(&j.FloorMM, f.FloorMM)
	set(&j.ErrorMM, f.ErrorMM)
	set(&j.UFloorMM, f.UFloorMM)
	set(&j.DiameterMM, f.DiameterMM)
}

func (f fileOptics) fill(o *Optics) {
	set(&o.Reflect, f.Reflect)
	set(&o.AmbientMcps, f.AmbientMcps)
	set(&o.WallMM, f.WallMM)
	set(&o.OffsetMM, f.OffsetMM)
	set(&o.DriftMMPerC, f.DriftMMPerC)
	set(&o.Quiet, f.Quiet)
}

func (f fileDough) fill(p *dough.Params) {
	set(&p.Mechanism, (*dough.Mechanism)(f.Mechanism))
	set(&p.Seed, f.Seed)
	for to, from := range map[*float64]*float64{
		&p.Culture.GasLPerKgH: f.GasLPerKgH, &p.Culture.GrowthPerH: f.GrowthPerH, &p.Culture.MinC: f.MinC,
		&p.Culture.OptC: f.OptC, &p.Culture.MaxC: f.MaxC, &p.Culture.LagH0: f.LagH0,
		&p.Culture.Tolerance: f.Tolerance, &p.Culture.SaltFactor: f.SaltFactor,
		&p.Flour.SugarPct: f.SugarPct, &p.Flour.MaltosePctH: f.MaltosePctH, &p.Flour.Strength: f.Strength, &p.Flour.DomePct: f.DomePct,
		&p.InoculationPct: f.Inoculation, &p.HydrationPct: f.Hydration, &p.SaltPct: f.SaltPct,
		&p.Vigour: f.Vigour, &p.Lag: f.Lag, &p.AirPct: f.AirPct, &p.StartC: f.StartC, &p.BaseMM: f.BaseMM,
		&p.SlumpPct: f.SlumpPct, &p.SlumpH: f.SlumpH, &p.SampleH: f.SampleH, &p.MainH: f.MainH,
	} {
		set(to, from)
	}
}

func (f fileFault) fault() Fault {
	t := Fault{At: time.Duration(f.At), For: time.Duration(f.For), Kind: f.Kind, Station: f.Station, Probe: f.Probe}
	t.MM, t.Mcps = kinds[f.Kind].mm, kinds[f.Kind].mcps
	set(&t.MM, f.MM)
	set(&t.Mcps, f.Mcps)
	return t
}

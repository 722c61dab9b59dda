package vl53

import (
	"time"

	"nightjar/rise"
	"nightjar/sensor"
	"nightjar/sensor/internal/tof"

	"periph.io/x/conn/v3/gpio"
)

// DefaultAddr is where a chip answers after power-up and after XSHUT.
const DefaultAddr = tof.DefaultAddr

// The registers, by ST's names.
const (
	regSoftReset     = 0x0000 // SOFT_RESET
	regAddress       = 0x0001 // I2C_SLAVE__DEVICE_ADDRESS
	RegOscillator    = 0x0006 // OSC_MEASURED__FAST_OSC__FREQUENCY
	regVHVTimeout    = 0x0008 // VHV_CONFIG__TIMEOUT_MACROP_LOOP_BOUND
	regVHVInit       = 0x000B // VHV_CONFIG__INIT
	regCrosstalk     = 0x0016 // ALGO__CROSSTALK_COMPENSATION_PLANE_OFFSET_KCPS
	regCrosstalkX    = 0x0018 // …_X_PLANE_GRADIENT_KCPS
	regCrosstalkY    = 0x001A // …_Y_PLANE_GRADIENT_KCPS
	regOffset        = 0x001E // ALGO__PART_TO_PART_RANGE_OFFSET_MM
	regInnerOffset   = 0x0020 // MM_CONFIG__INNER_OFFSET_MM
	regOuterOffset   = 0x0022 // MM_CONFIG__OUTER_OFFSET_MM
	RegAim           = 0x0024 // DSS_CONFIG__TARGET_TOTAL_RATE_MCPS
	RegBlock         = 0x002D // first of the default block
	regPolarity      = 0x0030 // GPIO_HV_MUX__CTRL, bit 4: active low
	regLine          = 0x0031 // GPIO__TIO_HV_STATUS
	RegPhaseTimeout  = 0x004B // PHASECAL_CONFIG__TIMEOUT_MACROP
	RegTimeoutA      = 0x005E // RANGE_CONFIG__TIMEOUT_MACROP_A
	RegVCSELA        = 0x0060 // RANGE_CONFIG__VCSEL_PERIOD_A
	RegTimeoutB      = 0x0061 // RANGE_CONFIG__TIMEOUT_MACROP_B
	RegVCSELB        = 0x0063 // RANGE_CONFIG__VCSEL_PERIOD_B
	RegSigma         = 0x0064 // RANGE_CONFIG__SIGMA_THRESH, 14.2 mm
	RegPhaseHigh     = 0x0069 // RANGE_CONFIG__VALID_PHASE_HIGH
	RegInterval      = 0x006C // SYSTEM__INTERMEASUREMENT_PERIOD
	RegWOI           = 0x0078 // SD_CONFIG__WOI_SD0, SD1
	RegInitialPhase  = 0x007A // SD_CONFIG__INITIAL_PHASE_SD0, SD1
	RegROICentre     = 0x007F // ROI_CONFIG__USER_ROI_CENTRE_SPAD
	RegROISize       = 0x0080 // ROI_CONFIG__USER_ROI_REQUESTED_GLOBAL_XY_SIZE
	regClear         = 0x0086 // SYSTEM__INTERRUPT_CLEAR
	regStart         = 0x0087 // SYSTEM__MODE_START
	regResult        = 0x0089 // RESULT__RANGE_STATUS, first of the result block
	RegPLL           = 0x00DE // RESULT__OSC_CALIBRATE_VAL
	regFirmware      = 0x00E5 // FIRMWARE__SYSTEM_STATUS
	regIdentity      = 0x010F // IDENTIFICATION__MODEL_ID
	RegOpticalCentre = 0x013E // ROI_CONFIG__MODE_ROI_CENTRE_SPAD
)

// Block is the default settings, registers 0x002D to 0x0087.
type Block [91]byte

// Set puts bytes into the block from a register on.
func (b *Block) Set(reg int, v ...byte) { copy(b[reg-RegBlock:], v) }

// Get is the byte of a register.
func (b *Block) Get(reg int) byte { return b[reg-RegBlock] }

// Model is a chip of the family: in what it differs from the others.
type Model struct {
	// Name is what people call it, ID its identity.
	Name string
	ID   uint16
	// Block is ST's default settings.
	Block Block
	// Start is what starts continuous ranging.
	Start byte
	// NearestMM is where the chip begins to be linear, mm: a nearer range is no good one.
	NearestMM float64
	// Extra, if not nil, is written after the first calibration: register, two bytes each.
	Extra []Word
	// Settle makes the settings that depend on options and on the chip: budget, region. It may read the chip.
	Settle func(*Dev) ([]Write, error)
}

// Word is a register of two bytes and its value.
type Word struct{ Reg, Value uint16 }

// Write is one message of a setting.
type Write struct {
	Reg  uint16
	Data []byte
}

// Config is what a chip's options come down to, checked.
type Config struct {
	Clock  sensor.Clock
	Budget time.Duration
	// SigmaMM is the largest estimate of noise of a good range, mm.
	SigmaMM float64
	// OffsetMM is added to every range; unknown keeps the factory's. CrosstalkKcps is what a window throws back, thousands of
	// counts a second and receiver.
	OffsetMM, CrosstalkKcps rise.Num
	XSHUT                   gpio.PinOut
	Interrupt               gpio.PinIn
	Sole                    bool
}

package vl6180x

// The registers, by ST's names.
const (
	regModel       = 0x0000 // IDENTIFICATION__MODEL_ID
	regGPIO1       = 0x0011 // SYSTEM__MODE_GPIO1
	regInterrupt   = 0x0014 // SYSTEM__INTERRUPT_CONFIG_GPIO
	regClear       = 0x0015 // SYSTEM__INTERRUPT_CLEAR
	regFresh       = 0x0016 // SYSTEM__FRESH_OUT_OF_RESET
	regHold        = 0x0017 // SYSTEM__GROUPED_PARAMETER_HOLD
	regStart       = 0x0018 // SYSRANGE__START
	regPeriod      = 0x001B // SYSRANGE__INTERMEASUREMENT_PERIOD
	regConvergence = 0x001C // SYSRANGE__MAX_CONVERGENCE_TIME, ms
	regCrosstalk   = 0x001E // SYSRANGE__CROSSTALK_COMPENSATION_RATE, 9.7 Mcps
	regEarly       = 0x0022 // SYSRANGE__EARLY_CONVERGENCE_ESTIMATE
	regOffset      = 0x0024 // SYSRANGE__PART_TO_PART_RANGE_OFFSET, signed mm
	regChecks      = 0x002D // SYSRANGE__RANGE_CHECK_ENABLES: bit 0 early convergence, bit 4 signal against noise
	regRecalibrate = 0x002E // SYSRANGE__VHV_RECALIBRATE
	regRepeat      = 0x0031 // SYSRANGE__VHV_REPEAT_RATE
	regALSPeriod   = 0x003E // SYSALS__INTERMEASUREMENT_PERIOD
	regALSGain     = 0x003F // SYSALS__ANALOGUE_GAIN
	regALSTime     = 0x0040 // SYSALS__INTEGRATION_PERIOD
	regStatus      = 0x004D // RESULT__RANGE_STATUS: bit 0 device ready, bits 7:4 error
	regReady       = 0x004F // RESULT__INTERRUPT_STATUS_GPIO: bits 2:0 range
	regResult      = 0x0062 // RESULT__RANGE_VAL, first of the result block
	regLight       = 0x00B8 // private; early convergence depends on it
	regScaler      = 0x0096 // private; RANGE_SCALER
	regSamples     = 0x0109 // private; averaging samples less one, bits 2:0
	regAveraging   = 0x010A // READOUT__AVERAGING_SAMPLE_PERIOD
	regAddress     = 0x0212 // I2C_SLAVE__DEVICE_ADDRESS
)

// private is the block that the chip needs after a reset, as ST's driver and two independent ones write it: register,
// byte. (A third writes 01 and 03 to 0x00E3 and 0x00E4.)
var private = [][2]uint16{
	{0x0207, 0x01}, {0x0208, 0x01}, {0x0096, 0x00}, {0x0097, 0xFD}, {0x00E3, 0x00}, {0x00E4, 0x04}, {0x00E5, 0x02}, {0x00E6, 0x01},
	{0x00E7, 0x03}, {0x00F5, 0x02}, {0x00D9, 0x05}, {0x00DB, 0xCE}, {0x00DC, 0x03}, {0x00DD, 0xF8}, {0x009F, 0x00}, {0x00A3, 0x3C},
	{0x00B7, 0x00}, {0x00BB, 0x3C}, {0x00B2, 0x09}, {0x00CA, 0x09}, {0x0198, 0x01}, {0x01B0, 0x17}, {0x01AD, 0x00}, {0x00FF, 0x05},
	{0x0100, 0x05}, {0x0199, 0x05}, {0x01A6, 0x1B}, {0x01AC, 0x3E}, {0x01A7, 0x1F}, {0x0030, 0x00},
}

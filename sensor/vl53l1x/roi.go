package vl53l1x

import "fmt"

// ROI is a region of interest on the array of 16 × 16 receivers.
type ROI struct {
	// Width and Height are 4 to 16 receivers; both 0 is 8 × 8.
	Width, Height int
	// Centre is the number of the receiver at the centre, as AN5191 counts them; 0 is the optical centre that the factory
	// measured for this very part, or 199, the middle, where the region would not fit around that.
	Centre byte
}

// middle is the receiver at the middle of the array: the one right of and above it.
const middle = 199

// size fills in the default and checks the sides.
func (r ROI) checked() (ROI, error) {
	if r.Width == 0 && r.Height == 0 {
		r.Width, r.Height = 8, 8
	}
	if r.Width < 4 || r.Width > 16 || r.Height < 4 || r.Height > 16 {
		return r, fmt.Errorf("region of %d × %d receivers: each side must be 4 to 16", r.Width, r.Height)
	}
	if r.Centre != 0 && !r.fits(r.Centre) {
		return r, fmt.Errorf("region of %d × %d receivers around receiver %d reaches over the edge of the array; "+
			"move it nearer to %d or make it smaller", r.Width, r.Height, r.Centre, middle)
	}
	return r, nil
}

// at is the centre to use for a part whose optical centre was measured. ST's driver takes the middle for regions over 10
// wide or high.
func (r ROI) at(optical byte) byte {
	switch {
	case r.Centre != 0:
		return r.Centre
	case r.Width > 10 || r.Height > 10 || !r.fits(optical):
		return middle
	}
	return optical
}

// place is the row, 0 at the top, and the column, 0 at the left, of a receiver as seen from the front.
func place(spad byte) (row, column int) {
	if n := int(spad) - 128; n >= 0 {
		return n % 8, n / 8
	}
	n := 127 - int(spad)
	return 8 + n%8, n / 8
}

// fits reports whether the region around a centre is on the array. Of an even side the centre is the one right of or
// above the middle.
func (r ROI) fits(centre byte) bool {
	row, column := place(centre)
	left, top := column-r.Width/2, row-(r.Height-1)/2
	return left >= 0 && left+r.Width <= 16 && top >= 0 && top+r.Height <= 16
}

// register is the value of the size register.
func (r ROI) register() byte { return byte(r.Height-1)<<4 | byte(r.Width-1) }

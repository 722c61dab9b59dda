package store

// counted turns a number's steps into what its source counted, and back: fewer and smaller steps to store.
type counted interface {
	count(steps, valid int64) int64
	steps(count, valid int64) int64
}

// countAll counts all numbers; false unless each comes back exactly.
func countAll(c counted, steps, valid []int64) ([]int64, bool) {
	counts := make([]int64, len(steps))
	for i, s := range steps {
		counts[i] = c.count(s, valid[i])
		if c.steps(counts[i], valid[i]) != s {
			return nil, false
		}
	}
	return counts, true
}

// sums counts whole millimetres: a mean, in hundredths, of ranges from registers that hold no less is their sum over
// their number.
type sums struct{}

func (sums) count(steps, valid int64) int64 { return divRound(steps*valid, 100) }

func (sums) steps(count, valid int64) int64 {
	if valid == 0 {
		return count
	}
	return divRound(count*100, valid)
}

// sixteenths counts a DS18B20's steps of 1/16 °C, which the kernel's files tell in thousandths, cut towards zero
// (drivers/w1/slaves/w1_therm.c of Linux). Steps are ten thousandths.
type sixteenths struct{}

func (sixteenths) count(steps, _ int64) int64 { return divRound(steps, 625) }

func (sixteenths) steps(count, _ int64) int64 { return count * 625 / 10 * 10 }

// divRound is a/b rounded half away from zero; b is positive.
func divRound(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}

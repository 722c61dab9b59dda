//go:build slow

package rise

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestAThousandNightsWithEverythingThatHappens holds the promises of an alert to a thousand nights: no ready with the true
// multiple below 0.95 of the target, none twice; a true doubling recognised with a median within 2 minutes, and within 10
// minutes or 0.06 in 95 of 100; the 95 % interval of the multiple covering the truth in 93 to 97 of 100.
func TestAThousandNightsWithEverythingThatHappens(t *testing.T) {
	v := judgeNights(t, 1000)
	assert.Empty(t, v.early)
	assert.Empty(t, v.twice)
	assert.LessOrEqual(t, v.quantile(0.5), 2.0)
	assert.GreaterOrEqual(t, v.quantile(0.5), -2.0)
	assert.LessOrEqual(t, len(v.late)*100, v.doubled*5)
	assert.GreaterOrEqual(t, v.covered*100, v.looked*93)
	assert.LessOrEqual(t, v.covered*100, v.looked*97)
}

package notify_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightjar/notify"
	"nightjar/notify/notifytest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTLSFiles(t *testing.T) {
	p := notifytest.NewPKI(t)
	cert, key := p.Issue(t, "attic", time.Hour)
	_, otherKey := p.Issue(t, "barn", time.Hour)
	empty := filepath.Join(t.TempDir(), "empty.pem")
	require.NoError(t, os.WriteFile(empty, nil, 0o600))

	c, err := notify.TLS("", "", "")
	assert.NoError(t, err)
	assert.Nil(t, c)
	c, err = notify.TLS(p.CA, cert, key)
	require.NoError(t, err)
	assert.Len(t, c.Certificates, 1)
	assert.False(t, c.InsecureSkipVerify)
	for _, tt := range []struct{ ca, cert, key, want string }{
		{"absent.pem", "", "", "ca_file: open absent.pem"},
		{empty, "", "", "holds no certificate"},
		{key, "", "", "holds no certificate"},
		{"", cert, "", "needed together"},
		{"", "", key, "needed together"},
		{"", cert, otherKey, "does not match"},
		{"", cert, "absent.key", "absent.key"},
	} {
		_, err := notify.TLS(tt.ca, tt.cert, tt.key)
		assert.ErrorContains(t, err, tt.want)
	}
}

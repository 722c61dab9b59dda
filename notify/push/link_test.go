package push

import (
	"bytes"
	"strings"
	"testing"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLinks(t *testing.T) {
	l, err := NewLinks("http://attic.local:8080/", bytes.Repeat([]byte{7}, 32))
	require.NoError(t, err)
	link := l.URL(rise.Alert{ID: "attic-5f0c11de-1"})
	// The digest by: printf 'acknowledge\0attic-5f0c11de-1' | openssl dgst -sha256 -mac HMAC -macopt hexkey:0707… -binary | basenc --base64url
	require.Equal(t, "http://attic.local:8080/ack/attic-5f0c11de-1/-YSXXT5mZqdsoiNurQrd6gMsEz1bvI86NnBTxoKwmAQ", link)
	token := link[strings.LastIndex(link, "/")+1:]
	assert.True(t, l.Verify("attic-5f0c11de-1", token))
	assert.False(t, l.Verify("attic-5f0c11de-2", token))
	assert.False(t, l.Verify("attic-5f0c11de-1", ""))
	assert.False(t, l.Verify("attic-5f0c11de-1", token[:len(token)-1]+"_"))
	other, err := NewLinks("http://attic.local", bytes.Repeat([]byte{8}, 32))
	require.NoError(t, err)
	assert.False(t, other.Verify("attic-5f0c11de-1", token))
	for _, bad := range []string{"", "attic.local", "ftp://x"} {
		_, err = NewLinks(bad, bytes.Repeat([]byte{7}, 32))
		assert.Error(t, err, bad)
	}
	_, err = NewLinks("http://attic.local", []byte("short"))
	assert.ErrorContains(t, err, "it takes 32")
}

package store

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
)

// recordVersion is the layout of records that this program writes; it reads all up to it.
const recordVersion = 1

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// seal puts the record around the payload that follows the first byte of b, which it sets.
func seal(b []byte) []byte {
	b[0] = recordVersion
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// unseal checks a record and returns its payload, which shares b's memory.
func unseal(b []byte) ([]byte, error) {
	if len(b) < 5 {
		return nil, fmt.Errorf("record of %d bytes: %w", len(b), ErrDamaged)
	}
	body := b[:len(b)-4]
	if crc32.Checksum(body, castagnoli) != binary.BigEndian.Uint32(b[len(body):]) {
		return nil, fmt.Errorf("record fails its checksum: %w", ErrDamaged)
	}
	if body[0] != recordVersion {
		return nil, fmt.Errorf("record of layout %d: %w", body[0], ErrNewer)
	}
	return body[1:], nil
}

// encode is the record of a value in JSON.
func encode(v any) ([]byte, error) {
	j, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return seal(append(make([]byte, 1, len(j)+5), j...)), nil
}

// decode reads a record in JSON.
func decode(b []byte, v any) error {
	p, err := unseal(b)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(p, v); err != nil {
		return fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	return nil
}

package machine

import (
	"fmt"
	"io/fs"
	"strings"
)

// BootID is the kernel's random id of this boot, read below root ("/" as an fs.FS). Another boot has another one.
func BootID(root fs.FS) (string, error) {
	b, err := fs.ReadFile(root, "proc/sys/kernel/random/boot_id")
	if err != nil {
		return "", fmt.Errorf("read the kernel's boot id: %w; a unit with ProcSubset=pid hides it", err)
	}
	id := strings.TrimSpace(string(b))
	if len(id) < 8 {
		return "", fmt.Errorf("the kernel's boot id %q is too short", id)
	}
	return id, nil
}

// ClockSynced reports whether the clock is known to be set by the network: systemd-timesyncd touches this file at each
// synchronisation (systemd-timesyncd.service(8)). False means "not known".
func ClockSynced(root fs.FS) bool {
	_, err := fs.Stat(root, "run/systemd/timesync/synchronized")
	return err == nil
}

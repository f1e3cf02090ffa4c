package cli

import (
	"crypto/rand"
	"encoding/hex"
	"os"
	"strconv"
	"strings"
	"time"

	"proveout/procedure/runner"
)

// runClock gives stamps. Where the system tells its boot and the time since, a run
// that is killed and started again in the same boot keeps its timers; elsewhere
// each start counts as a boot, and waits begin again: never too early.
func runClock() func() runner.Stamp {
	if id, err := os.ReadFile("/proc/sys/kernel/random/boot_id"); err == nil {
		boot := strings.TrimSpace(string(id))
		if _, err := uptime(); err == nil {
			return func() runner.Stamp {
				up, err := uptime()
				if err != nil {
					up = 0 // counts as no time passed: waits grow longer, never shorter
				}
				return runner.Stamp{Wall: time.Now().UnixNano(), Mono: up, Boot: boot}
			}
		}
	}
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		panic("cli: no random numbers: " + err.Error())
	}
	boot, start := "start-"+hex.EncodeToString(b[:]), time.Now()
	return func() runner.Stamp {
		return runner.Stamp{Wall: time.Now().UnixNano(), Mono: int64(time.Since(start)), Boot: boot}
	}
}

func uptime() (int64, error) {
	b, err := os.ReadFile("/proc/uptime")
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(strings.TrimSpace(string(b)), " ")
	s, err := strconv.ParseFloat(first, 64)
	return int64(s * 1e9), err
}

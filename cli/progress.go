package cli

import (
	"fmt"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
)

// progress shows how far a long file is read, on a terminal only, and only once
// the work has lasted a second.
func progress(c *cobra.Command) func(file string, done, total int64) {
	f, ok := c.ErrOrStderr().(*os.File)
	if !ok {
		return nil
	}
	if info, err := f.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	began := time.Now()
	var bar *progressbar.ProgressBar
	var name string
	return func(file string, done, total int64) {
		if time.Since(began) < time.Second {
			return
		}
		if total <= 0 {
			total = -1
		}
		if bar == nil || file != name {
			name = file
			bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(fmt.Sprintf("reading %s", file)),
				progressbar.OptionShowBytes(true), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
		}
		_ = bar.Set64(done) // a bar that cannot be drawn is no reason to stop
	}
}

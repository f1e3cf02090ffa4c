package cli

import "runtime/debug"

// Version names the program and the commit it was built from; an answer pins it.
func Version() string {
	const name = "proveout"
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return name
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return name + " " + s.Value[:12]
		}
	}
	return name + " (built without version control)"
}

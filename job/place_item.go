package job

import (
	"fmt"
	"strings"
)

// ItemAt is the number that the job file gives to the item at a path
// ("readings[2].values.1"), or 0 where none is written or no item stands there.
func (f *File) ItemAt(path string) int {
	list, rest, ok := strings.Cut(path, "[")
	var i int
	if n, err := fmt.Sscanf(rest, "%d]", &i); !ok || n != 1 || err != nil || i < 0 {
		return 0
	}
	switch {
	case list == "captures" && i < len(f.Captures):
		return f.Captures[i].Item
	case list == "readings" && i < len(f.Readings):
		return f.Readings[i].Item
	}
	return 0
}

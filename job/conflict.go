package job

import "slices"

// Conflict is two or more entries about one thing from devices that had not seen
// each other's. All of them stay in the record; a person settles it by undoing.
type Conflict struct {
	About   string   `json:"about"`
	Entries []string `json:"entries"`
}

// Conflicts finds what is set by several devices that had not seen each other's
// entry and of which more than one still stands.
func Conflicts(lines []Line) []Conflict {
	undone := Undone(lines)
	var out []Conflict
	for i := range lines {
		e := &lines[i].Entry
		if undone[e.ID] {
			continue
		}
		rivals := Rivals(lines[:i], e, undone)
		if len(rivals) == 0 {
			continue
		}
		about := Target(e.Type, e.Payload)
		at := slices.IndexFunc(out, func(c Conflict) bool { return c.About == about })
		if at < 0 {
			out, at = append(out, Conflict{About: about}), len(out)
		}
		for _, id := range append(rivals, e.ID) {
			if !slices.Contains(out[at].Entries, id) {
				out[at].Entries = append(out[at].Entries, id)
			}
		}
	}
	return out
}

// Rivals are entries among before, by other devices, that set the same thing as e
// and that e's author had not seen.
func Rivals(before []Line, e *Entry, undone map[string]bool) []string {
	if e.Seen == "" {
		return nil
	}
	target := Target(e.Type, e.Payload)
	if target == "" {
		return nil
	}
	var out []string
	for i := len(before) - 1; i >= 0 && before[i].Entry.ID != e.Seen; i-- {
		o := &before[i].Entry
		if o.Device != e.Device && !undone[o.ID] && !slices.Contains(e.Parents, o.ID) && Target(o.Type, o.Payload) == target {
			out = append(out, o.ID)
		}
	}
	slices.Reverse(out)
	return out
}

package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sort"
	"strings"

	"proveout/procedure/runner"
)

// recordFile is the record of one run under record/ of a job folder. It implements
// runner.Store: Append returns when the line is on disk.
type recordFile struct {
	f    *os.File
	size int64
}

func (r *recordFile) Append(line []byte) error {
	st, err := r.f.Stat()
	if err != nil {
		return err
	}
	if st.Size() != r.size {
		return fmt.Errorf("the record has %d bytes where %d were written: another program writes to it", st.Size(), r.size)
	}
	n, err := r.f.Write(line)
	if err != nil {
		// What got there is no whole line: it never counts, and is cut off on resuming.
		return fmt.Errorf("write record: %w", err)
	}
	if err := r.f.Sync(); err != nil {
		return fmt.Errorf("write record to disk: %w", err)
	}
	r.size += int64(n)
	return nil
}

// openRecord opens the record of a run in a job folder: the newest of this
// procedure that is not finished, or a new one. Nothing outside record/ is touched.
// torn is how many bytes of a cut-off last line were moved to a file beside it.
func openRecord(job, id string, fresh bool) (f *recordFile, data []byte, name string, torn int, err error) {
	root, err := os.OpenRoot(job)
	if err != nil {
		return nil, nil, "", 0, err
	}
	defer root.Close()
	if err := root.Mkdir("record", 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, nil, "", 0, err
	}
	names, err := fs.Glob(root.FS(), "record/procedure-"+id+"-*.jsonl")
	if err != nil {
		return nil, nil, "", 0, err
	}
	sort.Strings(names)
	if len(names) > 0 && !fresh {
		name = names[len(names)-1]
		if data, err = root.ReadFile(name); err != nil {
			return nil, nil, "", 0, err
		}
		_, entries, _, cut, err := runner.Read(data)
		if err != nil {
			return nil, nil, "", 0, fmt.Errorf("%s: %w", name, err)
		}
		if cut > 0 {
			// The last line was cut off while it was written, so it was never
			// acknowledged. It is kept beside the record, not thrown away.
			whole := len(data) - cut
			if err := root.WriteFile(fmt.Sprintf("%s.torn-at-%d", name, whole), data[whole:], 0o644); err != nil {
				return nil, nil, "", 0, err
			}
			w, err := root.OpenFile(name, os.O_RDWR, 0)
			if err != nil {
				return nil, nil, "", 0, err
			}
			err = errors.Join(w.Truncate(int64(whole)), w.Sync(), w.Close())
			if err != nil {
				return nil, nil, "", 0, err
			}
			data, torn = data[:whole], cut
		}
		if n := len(entries); n > 0 && entries[n-1].Kind == runner.Finished {
			name, data = "", nil
		}
	}
	if name == "" {
		name = fmt.Sprintf("record/procedure-%s-%03d.jsonl", id, len(names)+1)
	}
	file, err := root.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_RDWR, 0o644)
	if err != nil {
		return nil, nil, "", 0, err
	}
	// The folder must know the file before the first entry counts.
	if dir, err := root.Open("record"); err == nil {
		err = dir.Sync()
		dir.Close()
		if err != nil && !strings.Contains(err.Error(), "invalid argument") {
			file.Close()
			return nil, nil, "", 0, fmt.Errorf("write folder to disk: %w", err)
		}
	}
	return &recordFile{f: file, size: int64(len(data))}, data, name, torn, nil
}

//go:build unix && !solaris && !aix

package intake

import (
	"errors"
	"fmt"
	"os"
	"syscall"

	"proveout/trace"
)

const (
	// diskReserve is left free on the disk of the scratch (our choice): a job must
	// always be able to write down that it was stopped.
	diskReserve   = 1 << 30
	scratchBuffer = 256 << 10
	checkEvery    = 64 << 20 // bytes from one look at the free room to the next
)

// haveScratch says that samples beyond memory can be kept on this system.
const haveScratch = true

// scratch keeps the samples of one file that are too much for memory: for each
// column a file without a name, which the system takes back when the program ends,
// however it ends. It is mapped into memory, where the system keeps what is in use.
type scratch struct {
	dir     string
	columns []*scratchColumn
}

type scratchColumn struct {
	s    *scratch
	file *os.File
	buf  []byte // not yet written
	size int64
	room int64 // size up to which the disk is known to have room
	all  []byte
}

func newScratch(dir string) *scratch {
	const large = "/var/tmp" // for large temporary files: Filesystem Hierarchy Standard 3.0, 5.15
	if info, err := os.Stat(large); dir == "" && os.Getenv("TMPDIR") == "" && err == nil && info.IsDir() {
		dir = large // the usual folder may itself lie in memory
	}
	if dir == "" {
		dir = os.TempDir()
	}
	return &scratch{dir: dir}
}

func (s *scratch) Column() (trace.ScratchColumn, error) {
	f, err := os.CreateTemp(s.dir, "proveout-samples-*")
	if err == nil {
		err = os.Remove(f.Name())
	}
	if err != nil {
		return nil, s.explain(err)
	}
	c := &scratchColumn{s: s, file: f, buf: make([]byte, 0, scratchBuffer)}
	s.columns = append(s.columns, c)
	return c, nil
}

func (c *scratchColumn) Append(b []byte) error {
	for len(b) > 0 {
		n := min(len(b), cap(c.buf)-len(c.buf))
		c.buf, b = append(c.buf, b[:n]...), b[n:]
		if len(c.buf) == cap(c.buf) {
			if err := c.write(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *scratchColumn) write() error {
	if c.size+int64(len(c.buf)) > c.room {
		var st syscall.Statfs_t
		if err := syscall.Fstatfs(int(c.file.Fd()), &st); err == nil && int64(uint64(st.Bavail)*uint64(st.Bsize)) < diskReserve+checkEvery {
			return c.s.explain(syscall.ENOSPC)
		}
		c.room = c.size + checkEvery
	}
	n, err := c.file.Write(c.buf)
	c.size += int64(n)
	c.buf = c.buf[:0]
	if err != nil {
		return c.s.explain(err)
	}
	return nil
}

func (c *scratchColumn) Bytes() ([]byte, error) {
	if err := c.write(); err != nil || c.size == 0 {
		return nil, err
	}
	c.buf = nil
	if int64(int(c.size)) != c.size {
		return nil, c.s.explain(errors.New("more than a program of 32 bits can look at"))
	}
	var err error
	c.all, err = syscall.Mmap(int(c.file.Fd()), 0, int(c.size), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_SHARED)
	if err != nil {
		return nil, c.s.explain(err)
	}
	return c.all, nil
}

func (s *scratch) empty() bool { return len(s.columns) == 0 }

func (s *scratch) Close() error {
	var errs []error
	for _, c := range s.columns {
		if c.all != nil {
			errs = append(errs, syscall.Munmap(c.all))
		}
		errs = append(errs, c.file.Close())
	}
	s.columns = nil
	return errors.Join(errs...)
}

func (s *scratch) explain(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	if errors.Is(err, syscall.ENOSPC) {
		err = fmt.Errorf("less than %s would stay free on its disk", size(diskReserve))
	}
	return fmt.Errorf("the samples are more than may lie in memory, and cannot be kept in %s: %w; free room there, name another folder with --scratch, give --memory with more, or cut the capture", s.dir, err)
}

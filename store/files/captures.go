package files

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"

	"proveout/store"
)

// Folder is the folder of captures, uploads and keys.
type Folder struct {
	dir  string
	opts Options

	mu      sync.Mutex
	uploads map[string]*upload
}

// Options bound what files may take.
type Options struct {
	MaxCapture int64 // bytes of one capture; 0: store.MaxCapture
	KeepFree   int64 // bytes of the disk uploads leave free, for the record; 0: 64 MiB
	ReadOnly   bool

	saw func(op, path string) // tests: told of every step that matters to a power cut
}

// upload is an upload that this process has touched.
type upload struct {
	mu  sync.Mutex
	sum hash.Hash // of the first at bytes
	at  int64
}

// Open opens the folder and makes what is missing.
func Open(dir string, o Options) (*Folder, error) {
	if o.MaxCapture <= 0 {
		o.MaxCapture = store.MaxCapture
	}
	if o.KeepFree <= 0 {
		o.KeepFree = 64 << 20
	}
	if o.saw == nil {
		o.saw = func(string, string) {}
	}
	f := &Folder{dir: dir, opts: o, uploads: map[string]*upload{}}
	if o.ReadOnly {
		return f, nil
	}
	for _, d := range []string{"captures", "incoming", "keys"} {
		mode := fs.FileMode(0o755)
		if d == "keys" {
			mode = 0o700
		}
		if err := os.MkdirAll(filepath.Join(dir, d), mode); err != nil {
			return nil, err
		}
	}
	return f, SyncDir(dir)
}

var shaForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// path is where a capture lies; two letters of its hash keep folders short.
func (f *Folder) path(sha string) (string, error) {
	if !shaForm.MatchString(sha) {
		return "", fmt.Errorf("%q is no SHA-256 in hex: %w", sha, store.ErrNotFound)
	}
	return filepath.Join(f.dir, "captures", sha[:2], sha), nil
}

// Has reports whether a capture lies in the folder, and its size.
func (f *Folder) Has(sha string) (size int64, ok bool) {
	p, err := f.path(sha)
	if err != nil {
		return 0, false
	}
	info, err := os.Stat(p)
	if err != nil || !info.Mode().IsRegular() {
		return 0, false
	}
	return info.Size(), true
}

// OpenCapture opens a capture for reading.
func (f *Folder) OpenCapture(sha string) (store.Capture, error) {
	p, err := f.path(sha)
	if err != nil {
		return nil, err
	}
	file, err := os.Open(p)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("capture %s: %w", sha, store.ErrNotFound)
	}
	return file, err
}

var idForm = regexp.MustCompile(`^[0-9a-f]{32}$`)

func (f *Folder) part(id string) (string, error) {
	if !idForm.MatchString(id) {
		return "", fmt.Errorf("upload %q: %w", id, store.ErrNotFound)
	}
	return filepath.Join(f.dir, "incoming", id), nil
}

// Begin makes an upload.
func (f *Folder) Begin(_ context.Context, u store.Upload) (string, error) {
	if f.opts.ReadOnly {
		return "", store.ErrReadOnly
	}
	if u.Size > f.opts.MaxCapture {
		return "", fmt.Errorf("%w: the file has %d bytes, a capture at most %d; cut it into shorter captures", store.ErrTooBig, u.Size, f.opts.MaxCapture)
	}
	if err := f.room(max(u.Size, 0)); err != nil {
		return "", err
	}
	raw := make([]byte, 16)
	if _, err := rand.Read(raw); err != nil {
		return "", err
	}
	id := hex.EncodeToString(raw)
	p, err := f.part(id)
	if err != nil {
		return "", err
	}
	if err := writeMeta(p+".upload", u); err != nil {
		return "", full(err)
	}
	file, err := os.OpenFile(p, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return "", full(err)
	}
	if err := errors.Join(file.Sync(), file.Close(), SyncDir(filepath.Dir(p))); err != nil {
		return "", full(err)
	}
	f.mu.Lock()
	f.uploads[id] = &upload{sum: sha256.New()}
	f.mu.Unlock()
	return id, nil
}

// room holds uploads to leaving some of the disk free: the record comes first.
func (f *Folder) room(n int64) error {
	if free, ok := freeBytes(f.dir); ok && free-n < f.opts.KeepFree {
		return fmt.Errorf("%w (%d MB free; captures leave %d MB for the record)", store.ErrFull, free>>20, f.opts.KeepFree>>20)
	}
	return nil
}

// use gives the upload with its lock held.
func (f *Folder) use(id string) (*upload, string, error) {
	p, err := f.part(id)
	if err != nil {
		return nil, "", err
	}
	f.mu.Lock()
	u := f.uploads[id]
	if u == nil {
		u = &upload{at: -1} // begun before this process: hashed anew when needed
		f.uploads[id] = u
	}
	f.mu.Unlock()
	u.mu.Lock()
	if _, err := os.Stat(p); err != nil {
		u.mu.Unlock()
		f.forget(id)
		return nil, "", fmt.Errorf("upload %s: %w", id, store.ErrNotFound)
	}
	return u, p, nil
}

func (f *Folder) forget(id string) {
	f.mu.Lock()
	delete(f.uploads, id)
	f.mu.Unlock()
}

// Resume says where an upload stands.
func (f *Folder) Resume(_ context.Context, id string) (store.Upload, error) {
	u, p, err := f.use(id)
	if err != nil {
		return store.Upload{}, err
	}
	defer u.mu.Unlock()
	meta, err := readMeta(p + ".upload")
	if err != nil {
		return store.Upload{}, err
	}
	info, err := os.Stat(p)
	if err != nil {
		return store.Upload{}, err
	}
	meta.Offset = info.Size()
	return meta, nil
}

// AppendUpload writes bytes at an offset.
func (f *Folder) AppendUpload(ctx context.Context, id string, offset int64, r io.Reader) (int64, error) {
	u, p, err := f.use(id)
	if err != nil {
		return 0, err
	}
	defer u.mu.Unlock()
	meta, err := readMeta(p + ".upload")
	if err != nil {
		return 0, err
	}
	file, err := os.OpenFile(p, os.O_RDWR, 0)
	if err != nil {
		return 0, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return 0, err
	}
	if info.Size() != offset {
		return info.Size(), fmt.Errorf("offset %d, but %d bytes are here: %w", offset, info.Size(), store.ErrOffset)
	}
	if err := f.room(0); err != nil {
		return offset, err
	}
	limit := f.opts.MaxCapture
	if meta.Size >= 0 {
		limit = min(limit, meta.Size)
	}
	if _, err := file.Seek(offset, io.SeekStart); err != nil {
		return offset, err
	}
	dst := io.Writer(file)
	hashing := u.sum != nil && u.at == offset
	if hashing {
		dst = io.MultiWriter(file, u.sum)
	}
	n, err := io.Copy(dst, io.LimitReader(&ctxReader{ctx, r}, limit-offset+1))
	if offset+n > limit {
		u.sum = nil
		return offset, errors.Join(fmt.Errorf("%w: it has more than the %d bytes that were announced or fit", store.ErrTooBig, limit), file.Truncate(offset))
	}
	if u.at = offset + n; !hashing || err != nil {
		u.sum = nil // what reached the file and the hash may differ
	}
	if serr := file.Sync(); serr != nil {
		return offset, full(serr)
	}
	f.opts.saw("sync", p)
	return offset + n, full(err)
}

// ctxReader ends when the request does.
type ctxReader struct {
	ctx context.Context
	r   io.Reader
}

func (c *ctxReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}

// Finish makes an upload a capture.
func (f *Folder) Finish(_ context.Context, id string) (sha string, size int64, known bool, err error) {
	u, p, err := f.use(id)
	if err != nil {
		return "", 0, false, err
	}
	defer u.mu.Unlock()
	meta, err := readMeta(p + ".upload")
	if err != nil {
		return "", 0, false, err
	}
	info, err := os.Stat(p)
	if err != nil {
		return "", 0, false, err
	}
	if size = info.Size(); meta.Size >= 0 && size != meta.Size {
		return "", size, false, fmt.Errorf("%d of %d bytes are here; send the rest: %w", size, meta.Size, store.ErrOffset)
	}
	if u.sum != nil && u.at == size {
		sha = hex.EncodeToString(u.sum.Sum(nil))
	} else if sha, err = HashFile(p); err != nil {
		return "", size, false, err
	}
	if _, known = f.Has(sha); known {
		err = os.Remove(p)
	} else {
		err = f.settle(p, sha)
	}
	if err != nil {
		return "", size, known, full(err)
	}
	f.forget(id)
	_ = os.Remove(p + ".upload") // left behind, it is swept at the next start
	return sha, size, known, nil
}

// settle renames a synced file to its hash and syncs the folders.
func (f *Folder) settle(from, sha string) error {
	to, err := f.path(sha)
	if err != nil {
		return err
	}
	dir := filepath.Dir(to)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if err := os.Chmod(from, 0o444); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	f.opts.saw("rename", to)
	for _, d := range []string{dir, filepath.Dir(dir), filepath.Dir(from)} {
		if err := SyncDir(d); err != nil {
			return err
		}
		f.opts.saw("syncdir", d)
	}
	return nil
}

// Put keeps a whole stream as a capture.
func (f *Folder) Put(ctx context.Context, r io.Reader) (string, int64, bool, error) {
	id, err := f.Begin(ctx, store.Upload{Size: -1})
	if err != nil {
		return "", 0, false, err
	}
	if _, err := f.AppendUpload(ctx, id, 0, r); err != nil {
		f.drop(id)
		return "", 0, false, err
	}
	return f.Finish(ctx, id)
}

func (f *Folder) drop(id string) {
	if p, err := f.part(id); err == nil {
		_ = os.Remove(p)
		_ = os.Remove(p + ".upload")
	}
	f.forget(id)
}

package store

import (
	"context"
	"io"
	"time"

	"proveout/job"
)

// Store keeps records, captures and what lies beside them. One process writes;
// its methods may be called from many goroutines.
type Store interface {
	// Append writes the entries of a batch and what belongs to them, all or nothing.
	// When it returns nil they survive a power cut. The lines must carry on the chain
	// of their device, and every capture in Cites must lie in the store.
	Append(ctx context.Context, b Batch) ([]int64, error)
	// Entries gives a job's entries in the shop's order, those after an order first.
	Entries(ctx context.Context, jobID string, after int64) ([]job.Line, error)
	// Receipt gives what was answered to the command with this key, or ErrNotFound.
	Receipt(ctx context.Context, key string) (Receipt, error)
	// Heads gives the signed ends of a job's chains.
	Heads(ctx context.Context, jobID string) ([]SignedHead, error)
	// LastN is the highest counter that was taken from a device; 0: none.
	LastN(ctx context.Context, device string) (int64, error)

	// Rows lists rows of the board. Row gives one, or ErrNotFound.
	Rows(ctx context.Context, q RowQuery) ([]Row, error)
	Row(ctx context.Context, jobID string) (Row, error)

	Captures
	Beside

	// Backup writes a copy into an empty folder while the store is in use: the
	// database first, then the captures, so that every capture an entry of the copy
	// cites is there. Keys of customers are left out unless asked for.
	Backup(ctx context.Context, dir string, withKeys bool) error
	// Verify goes through everything and names what is damaged. The findings are for
	// people; the error says that the check itself could not be done.
	Verify(ctx context.Context, v Verification) ([]Finding, error)
	// Path is the folder the store lies in.
	Path() string
	Close() error
}

// Captures are files by the SHA-256 of their bytes, written once.
type Captures interface {
	// Begin makes an upload; Resume says how many of its bytes are safe on disk.
	Begin(ctx context.Context, u Upload) (id string, err error)
	Resume(ctx context.Context, id string) (Upload, error)
	// AppendUpload writes bytes at an offset, which must be where the upload stands;
	// it returns the new offset when the bytes are on disk.
	AppendUpload(ctx context.Context, id string, offset int64, r io.Reader) (int64, error)
	// Finish makes the upload a capture. known is true when the same bytes were there.
	Finish(ctx context.Context, id string) (sha string, size int64, known bool, err error)
	// Put is Begin, AppendUpload and Finish at once.
	Put(ctx context.Context, r io.Reader) (sha string, size int64, known bool, err error)
	// Open opens a capture for reading. OpenCapture of one that is not there is
	// ErrNotFound.
	OpenCapture(sha string) (Capture, error)
}

// Capture is an open capture.
type Capture interface {
	io.Reader
	io.ReaderAt
	io.Seeker
	io.Closer
}

// Beside is what lies beside the chain.
type Beside interface {
	// PutPersonal keeps personal data of a customer under the customer's key, which
	// is made when it is the first. An erased customer is ErrErased.
	PutPersonal(ctx context.Context, customer, name string, plain []byte) error
	// Personal gives it back, ErrNotFound, or ErrErased.
	Personal(ctx context.Context, customer, name string) ([]byte, error)
	// PersonalNames lists what is kept of a customer.
	PersonalNames(ctx context.Context, customer string) ([]string, error)
	// Erase destroys the key of a customer. Nothing of the customer can be read after.
	Erase(ctx context.Context, customer string) error

	// PutDoc, Doc, Docs and DropDoc keep small documents by kind and id: people,
	// devices, drafts. They are no record.
	PutDoc(ctx context.Context, kind, id string, body []byte) error
	Doc(ctx context.Context, kind, id string) ([]byte, error)
	Docs(ctx context.Context, kind string) (map[string][]byte, error)
	DropDoc(ctx context.Context, kind, id string) error
}

// Batch is what one command writes.
type Batch struct {
	Job     string
	Lines   [][]byte     // entries as stored, without line ends
	Cites   []string     // SHA-256 of captures the entries name
	Row     Row          // of the board, as it is after the entries
	Receipt *Receipt     // nil: no command (an import)
	Heads   []SignedHead // the ends of the chains after the entries
	// Urgent entries are written out of the disk reserve when the disk is full: stop,
	// interrupted, dangerous.
	Urgent bool
}

// SignedHead is the end of a device's chain in a job, signed by the shop.
type SignedHead struct {
	Device string `json:"device"`
	job.Head
	Key       string `json:"key"`       // public key in hex
	Signature string `json:"signature"` // in hex
}

// Verification says what a store is held against.
type Verification struct {
	// Heads are ends that chains are known to have had, by "job/device": printed, or
	// signed at some time.
	Heads map[string]job.Head
	// Signed, when set, checks the signature of a head; then every chain must end
	// with a signed one.
	Signed func(jobID string, h SignedHead) error
	Tell   func(done, total int)
}

// Receipt is the answer to a command, kept so that the same command again gets
// the same answer.
type Receipt struct {
	Key    string
	Device string
	N      int64
	Body   string // SHA-256 of the command: another body under the same key is refused
	Order  int64  // filled in by Append
	Answer []byte // JSON of the answer; Order is not in it
	Job    string
}

// Row is a job as the board lists it.
type Row struct {
	Job       string
	Open      bool
	Dangerous bool
	Practice  bool
	Promised  time.Time // zero: none
	Order     int64     // of the last entry; filled in by Append
	Body      []byte    // JSON, derived, without personal data
}

// RowQuery chooses rows: dangerous ones first, then by promised time (none last),
// then the newest.
type RowQuery struct {
	Open  bool // only open jobs; otherwise all, newest first
	Limit int
	// Before continues a list of all jobs: only rows of a lower order.
	Before int64
}

// Upload is a capture on its way.
type Upload struct {
	Name   string
	Size   int64 // as announced; -1: not known
	Offset int64 // bytes safe on disk
}

// Finding is something Verify found.
type Finding struct {
	Where string `json:"where"` // job and line, capture, file
	Text  string `json:"text"`  // what is wrong, and what to do
}

package intake

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"runtime"

	"proveout/obd/canlog"
	"proveout/trace"
)

// Options say how to read.
type Options struct {
	Limits Limits
	// Text and WAV carry what the person said about the file (mapping, sample
	// rate, delimiter). Size, Workers, MaxValues, Beyond and Progress are filled in here.
	Text trace.TextOptions
	WAV  trace.WAVOptions
	// Want, when set, says what the file is instead of looking: trace.KindText or
	// trace.KindMessages for a file the first lines of which mislead.
	Want trace.Kind
	// Workers for delimited text; 0 = one for each core.
	Workers int
	// Progress is told how far a file has been read; total is 0 when unknown. It
	// is called from another goroutine, one call at a time.
	Progress func(file string, done, total int64)
}

// File is what became of one file. Exactly one of Recording, Messages and Err
// is set.
type File struct {
	Name   string // as given, or the path inside the folder with "/"
	Size   int64  // bytes read from disk or stream
	SHA256 string // of the bytes as they lie on disk, in hex; empty when they could not all be read
	Kind   trace.Kind
	Packed bool // it was packed with gzip
	// Recording of delimited text or WAV.
	Recording *trace.Recording
	// Messages are the unpacked bytes of a message log or packet capture, for
	// package obd.
	Messages []byte
	Err      error
	scratch  *scratch // holds the samples of a recording beyond memory
}

// Close lets go of a recording that was too much for memory: its samples must not be
// looked at any more. Of any other file it does nothing.
func (f *File) Close() error {
	if f.scratch == nil {
		return nil
	}
	s := f.scratch
	f.scratch, f.Recording = nil, nil
	return s.Close()
}

// BeyondMemory reports whether the samples lie on the disk.
func (f *File) BeyondMemory() bool { return f.scratch != nil }

// read decodes one stream and takes its hash on the way. total is the size on
// disk, 0 if unknown.
func read(name string, src io.Reader, total int64, opts Options) File {
	lim := opts.Limits.withDefaults()
	f := File{Name: name}
	sum := sha256.New()
	disk := &limitReader{r: src, max: lim.File, what: "the file"}
	count := &countReader{r: io.TeeReader(disk, sum)}
	if opts.Progress != nil {
		count.tell = func(n int64) { opts.Progress(name, n, total) }
	}
	if at, ok := src.(io.ReaderAt); ok && total > 0 {
		opts.Text.At = at
	}
	err := f.decode(count, disk, total, opts, lim)
	f.Size = count.n
	// The rest is read for the hash even when decoding gave up; a limit or a read
	// error is final. A large file that was refused at sight is not worth the wait.
	if big := total > hashRefused; big && (f.Kind == trace.KindBinary || errors.Is(err, trace.ErrTooMany)) {
		_ = f.Close()
		f.Err = fmt.Errorf("%s: %w", name, err)
		return f
	}
	if _, rest := io.Copy(io.Discard, count); rest == nil {
		f.Size = count.n
		f.SHA256 = hexSum(sum)
	} else if err == nil {
		err = rest
	}
	if disk.err != nil {
		err = disk.err
	}
	if err != nil {
		_ = f.Close()
		f.Recording, f.Messages = nil, nil
		f.Err = fmt.Errorf("%s: %w", name, err)
	}
	return f
}

// beyond is where the samples go that are too much for memory.
func (f *File) beyond(lim Limits) trace.Beyond {
	if !haveScratch {
		return trace.Beyond{}
	}
	f.scratch = newScratch(lim.Scratch)
	return trace.Beyond{InMemory: lim.Memory / 8, Scratch: f.scratch}
}

// settled forgets a scratch that was not needed.
func (f *File) settled() {
	if f.scratch != nil && f.scratch.empty() {
		f.scratch = nil
	}
}

// hashRefused is the size up to which a refused file is still read to its end for
// its hash (our choice: a tenth of a second).
const hashRefused = 64 << 20

func hexSum(h hash.Hash) string { return hex.EncodeToString(h.Sum(nil)) }

func (f *File) decode(count *countReader, disk *limitReader, total int64, opts Options, lim Limits) error {
	br := bufio.NewReaderSize(count, trace.SniffSize)
	head, err := br.Peek(trace.SniffSize)
	if err != nil && err != io.EOF {
		return err
	}
	known := total
	if err == io.EOF && total == 0 {
		known = int64(len(head))
	}
	kind, hint := trace.Sniff(head, sizeOr(known, len(head)))
	var packed *ratioReader
	if kind == trace.KindGzip {
		f.Packed = true
		// The decompressor reads ahead through br; count sees what br took.
		z, err := gzip.NewReader(br)
		if err != nil {
			return fmt.Errorf("packed with gzip, but damaged at the start (%w); copy it again", err)
		}
		packed = &ratioReader{r: z, packed: count, ratio: lim.Ratio}
		out := &limitReader{r: packed, max: lim.Unpacked, what: "the unpacked file"}
		br = bufio.NewReaderSize(out, trace.SniffSize)
		head, err = br.Peek(trace.SniffSize)
		if packed.err != nil {
			return packed.err
		}
		if err != nil && err != io.EOF && len(head) == 0 {
			return fmt.Errorf("packed with gzip, but damaged (%w); copy it again", err)
		}
		total, opts.Text.At = 0, nil
		if kind, hint = trace.Sniff(head, int64(len(head))); kind == trace.KindGzip {
			return errors.New("packed with gzip twice; unpack it once")
		}
		err = f.decodeKind(kind, hint, head, br, 0, opts, lim)
		switch {
		case packed.err != nil:
			return packed.err
		case out.err != nil:
			return out.err
		}
		return err
	}
	return f.decodeKind(kind, hint, head, br, total, opts, lim)
}

func sizeOr(known int64, head int) int64 {
	if known > 0 || head == 0 {
		return known
	}
	return -1
}

func (f *File) decodeKind(kind trace.Kind, hint string, head []byte, br io.Reader, total int64, opts Options, lim Limits) error {
	kind = settle(kind, head, opts)
	f.Kind = kind
	switch kind {
	case trace.KindEmpty:
		return trace.ErrEmpty
	case trace.KindBinary:
		return fmt.Errorf("%s", hint)
	case trace.KindMessages, trace.KindPcap:
		var buf bytes.Buffer
		in := &limitReader{r: br, max: lim.Messages, what: "the message log"}
		if _, err := buf.ReadFrom(in); err != nil {
			if in.err != nil {
				return in.err
			}
			return fmt.Errorf("byte %d: reading stopped: %w; copy the file again", buf.Len(), err)
		}
		f.Messages = buf.Bytes()
		return nil
	case trace.KindWAV:
		o := opts.WAV
		o.Size, o.MaxValues, o.Beyond = total, lim.Values, f.beyond(lim)
		if len(o.Columns) == 0 {
			o.Columns = opts.Text.Columns
		}
		rec, err := trace.ReadWAV(br, o)
		f.Recording = rec
		f.settled()
		return err
	}
	o := opts.Text
	o.Size, o.MaxValues, o.Workers, o.Beyond = total, lim.Values, opts.Workers, f.beyond(lim)
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	rec, err := trace.ReadText(br, o)
	f.Recording = rec
	f.settled()
	return err
}

// settle decides between samples and messages where the first bytes allow
// both: what the person says wins; then the message reader's own judgement.
func settle(kind trace.Kind, head []byte, opts Options) trace.Kind {
	text := kind == trace.KindText || kind == trace.KindMessages
	if text && (opts.Want == trace.KindText || opts.Want == trace.KindMessages) {
		return opts.Want
	}
	if text && len(opts.Text.Columns) > 0 {
		return trace.KindText // messages have no columns
	}
	if kind != trace.KindText {
		return kind
	}
	if format, sure := canlog.Sniff(head); format != canlog.Unknown && sure >= 0.9 {
		return trace.KindMessages
	}
	return kind
}

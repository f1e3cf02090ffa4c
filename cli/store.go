package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"proveout/shop"
	"proveout/store"
	"proveout/store/sqlite"
)

func init() { commands = append(commands, newExport, newImport, newVerify, newBackup, newRestore) }

// dataFlag is the folder of the shop's store, the same for every command.
func dataFlag(c *cobra.Command, into *string) {
	c.Flags().StringVar(into, "data", "", "folder of the shop's record and captures, as given to serve")
}

func needData(dir string) error {
	if dir == "" {
		return errors.New("--data is missing: name the folder of the shop's record, as given to serve")
	}
	return nil
}

// openStore opens the shop's store; for reading it may be in use.
func openStore(dir string, o sqlite.Options) (*sqlite.Store, error) {
	if err := needData(dir); err != nil {
		return nil, err
	}
	s, err := sqlite.Open(dir, o)
	if errors.Is(err, store.ErrInUse) {
		return nil, fmt.Errorf("%w; while it runs, add jobs through it", err)
	}
	return s, err
}

// withBench runs f on a workbench over the store.
func withBench(dir string, o sqlite.Options, f func(*shop.Bench) error) error {
	s, err := openStore(dir, o)
	if err != nil {
		return err
	}
	b, err := shop.NewBench(s, shop.BenchOptions{Clock: time.Now, NewID: newID, Program: Version()})
	if err != nil {
		return errors.Join(err, s.Close())
	}
	err = f(b)
	b.Close()
	return errors.Join(err, s.Close())
}

// interruptible ends with the first interrupt from the keyboard.
func interruptible(c *cobra.Command) (context.Context, func()) {
	return signal.NotifyContext(c.Context(), os.Interrupt)
}

func newExport() *cobra.Command {
	var data, out string
	var personal bool
	c := &cobra.Command{
		Use:   "export JOB --out DIR",
		Short: "Write a job of the workbench as a job folder, with its record and signed heads",
		Long: `Writes job.yaml, captures/ and record/ into a new folder. "diagnose" and "prove"
answer it like the workbench does, "import" takes it into another shop's record with
every entry byte for byte the same, and "verify" checks it against its signed heads.

VIN, plate and customer are left out unless --personal is given. May be used while
the workbench runs.`,
		Example: `  proveout export --data shop JOB --out handed-on
  proveout export --data shop JOB --out own-copy --personal`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if out == "" {
				return errors.New("--out is missing: name a new folder")
			}
			ctx, stop := interruptible(c)
			defer stop()
			return withBench(data, sqlite.Options{ReadOnly: true}, func(b *shop.Bench) error {
				if err := b.Export(ctx, args[0], out, shop.ExportOptions{Personal: personal}); err != nil {
					return err
				}
				fmt.Fprintf(c.OutOrStdout(), "job %s is in %s\n", args[0], out)
				h, err := shop.ReadHeads(filepath.Join(out, "record", "heads.json"))
				if err == nil {
					fmt.Fprintf(c.OutOrStdout(), "signed with the key %s; note it down apart from the folder\n", h.Print)
				}
				return err
			})
		},
	}
	dataFlag(c, &data)
	c.Flags().StringVar(&out, "out", "", "new folder to write")
	c.Flags().BoolVar(&personal, "personal", false, "with VIN, plate and customer")
	return c
}

func newImport() *cobra.Command {
	var data, who string
	c := &cobra.Command{
		Use:   "import DIR...",
		Short: "Take job folders into the workbench's record",
		Long: `Takes job folders in. A folder with a record (from "export") keeps every entry byte
for byte, after its chains, signed heads and captures were verified; of a plain folder
entries are made. Nothing in the folder is changed. The workbench must not be running.`,
		Example: `  proveout import --data shop --who ines examples/01-stumble-on-the-hill
  proveout import --data shop handed-on`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			ctx, stop := interruptible(c)
			defer stop()
			return withBench(data, sqlite.Options{Create: true}, func(b *shop.Bench) error {
				for _, dir := range args {
					in, err := b.Import(ctx, dir, who)
					if err != nil {
						return err
					}
					writeImported(&page{w: c.OutOrStdout()}, dir, in)
				}
				return nil
			})
		},
	}
	dataFlag(c, &data)
	c.Flags().StringVar(&who, "who", "import", "id of the person who takes it in; no name, it stands in the record")
	return c
}

func writeImported(p *page, dir string, in *shop.Imported) {
	how := "entries made"
	if in.Record {
		how = "entries as they were"
	}
	fmt.Fprintf(p.w, "%s: job %s, %d %s, %d captures\n", dir, in.Job, in.Entries, how, in.Captures)
	for _, l := range in.LeftOut {
		fmt.Fprintln(p.w, "  left out:", l)
	}
	for _, n := range in.Notes {
		fmt.Fprintln(p.w, "  note:", n)
	}
}

func newVerify() *cobra.Command {
	var heads, key string
	var asJSON bool
	c := &cobra.Command{
		Use:   "verify DIR",
		Short: "Check that a record was not changed: a job folder or a whole store",
		Long: `Checks every entry against the one before it on its device, every chain against the
head the shop signed, and every capture against the hash the record cites.

A record that somebody hashed anew from its first entry on fits together by itself.
It fails against the signed heads; and where somebody could also have signed anew,
against heads that were kept apart (--heads) or the shop's key as it was noted down
from an export (--key). A store may be checked while it is in use.

Exit code 1: something was found.`,
		Example: `  proveout verify handed-on
  proveout verify --key 0f3a-91c2-77de-0b41 handed-on
  proveout verify --heads kept/heads.json shop`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			o := shop.VerifyOptions{Keys: strings.Fields(key)}
			if heads != "" {
				h, err := shop.ReadHeads(heads)
				if err != nil {
					return err
				}
				o.Heads = h
			}
			v, err := verifyPath(c, args[0], o)
			if err != nil {
				return err
			}
			if asJSON {
				err = writeJSON(c.OutOrStdout(), v)
			} else {
				writeVerified(c, args[0], v)
			}
			if err == nil && len(v.Found) > 0 {
				err = silent{Refused}
			}
			return err
		},
	}
	c.Flags().StringVar(&heads, "heads", "", "file of signed heads that was kept apart from the record")
	c.Flags().StringVar(&key, "key", "", "the shop's public key: 64 hex digits, or the short form that export and verify print")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

func verifyPath(c *cobra.Command, dir string, o shop.VerifyOptions) (*shop.Verified, error) {
	s, err := sqlite.Open(dir, sqlite.Options{ReadOnly: true})
	if errors.Is(err, store.ErrNotFound) {
		return shop.VerifyFolder(dir, o)
	}
	if err != nil {
		return nil, err
	}
	ctx, stop := interruptible(c)
	defer stop()
	v, err := shop.VerifyStore(ctx, s, o)
	return v, errors.Join(err, s.Close())
}

func writeVerified(c *cobra.Command, dir string, v *shop.Verified) {
	out := c.OutOrStdout()
	for _, f := range v.Found {
		fmt.Fprintf(out, "%s: %s\n", f.Where, f.Text)
	}
	for _, n := range v.Notes {
		fmt.Fprintln(out, "note:", n)
	}
	switch n := len(v.Found); {
	case n > 0:
		fmt.Fprintf(out, "%s: NOT as it was written, %d finding%s\n", dir, n, map[bool]string{true: "s"}[n > 1])
	case v.What == "folder":
		fmt.Fprintf(out, "%s: as it was written: %d entries, %d captures\n", dir, v.Entries, v.Captures)
	default:
		fmt.Fprintf(out, "%s: as it was written\n", dir)
	}
}

func newBackup() *cobra.Command {
	var data, out string
	var keys bool
	c := &cobra.Command{
		Use:   "backup --out DIR",
		Short: "Copy the shop's whole record, also while it is in use",
		Long: `Copies the database first, then the captures, into a new folder, so that every
capture an entry of the copy cites is in it. May be used while the workbench runs.

The keys of customers' data and the shop's signing key are left out unless --keys is
given: without them personal data in the copy is unreadable, and what a customer had
erased does not come back with it. Keep a copy of the keys somewhere else.`,
		Example: `  proveout backup --data shop --out /media/stick/2026-11-25`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if out == "" {
				return errors.New("--out is missing: name a new folder")
			}
			s, err := openStore(data, sqlite.Options{ReadOnly: true})
			if err != nil {
				return err
			}
			ctx, stop := interruptible(c)
			defer stop()
			if err := errors.Join(s.Backup(ctx, out, keys), s.Close()); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: backup written; check it with: proveout verify %s\n", out, out)
			return nil
		},
	}
	dataFlag(c, &data)
	c.Flags().StringVar(&out, "out", "", "new folder to write")
	c.Flags().BoolVar(&keys, "keys", false, "with the keys of customers' data and the signing key")
	return c
}

func newRestore() *cobra.Command {
	var data string
	c := &cobra.Command{
		Use:   "restore BACKUP --data DIR",
		Short: "Make a shop's folder from a backup, after checking it",
		Long: `Verifies the backup, then copies it into a new folder to be served. Nothing is ever
written over: an old folder stays where it is.`,
		Example: `  proveout restore /media/stick/2026-11-25 --data shop-again`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := needData(data); err != nil {
				return err
			}
			s, err := sqlite.Open(args[0], sqlite.Options{ReadOnly: true})
			if err != nil {
				return err
			}
			ctx, stop := interruptible(c)
			defer stop()
			v, err := shop.VerifyStore(ctx, s, shop.VerifyOptions{})
			if err == nil && len(v.Found) > 0 {
				writeVerified(c, args[0], v)
				err = silent{Refused}
			}
			if err == nil {
				err = s.Backup(ctx, data, true)
			}
			if err = errors.Join(err, s.Close()); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: restored and checked; start it with: proveout serve --data %s\n", data, data)
			return nil
		},
	}
	dataFlag(c, &data)
	return c
}

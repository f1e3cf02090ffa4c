package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"mime"
	"net/http"
	"path"
	"slices"
	"strings"
)

//go:embed assets
var assetFiles embed.FS

// asset is one embedded file, packed once at start.
type asset struct {
	plain, packed []byte
	kind          string
	version       string // first figures of its SHA-256: part of its address
}

// address is where a page loads an asset from. Scripts lie under one version of all
// of them, as a folder: what a script imports by a relative name is then the same
// module, of the same version, for every page.
func address(assets map[string]*asset, name string) (string, error) {
	a, ok := assets[name]
	switch {
	case !ok:
		return "", fmt.Errorf("there is no asset %s", name)
	case path.Ext(name) == ".js":
		return "/assets/~" + scriptsVersion(assets) + "/" + name, nil
	}
	return "/assets/" + name + "?v=" + a.version, nil
}

// scriptsVersion changes with any script.
func scriptsVersion(assets map[string]*asset) string {
	sum := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(assets)) {
		if path.Ext(name) == ".js" {
			io.WriteString(sum, name+assets[name].version)
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:6])
}

// kinds are told by name and not by the machine's own table, which differs.
var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png",
	".webmanifest": "application/manifest+json", ".json": "application/json", ".woff2": "font/woff2", ".txt": "text/plain; charset=utf-8",
}

func loadAssets() (map[string]*asset, error) {
	out := map[string]*asset{}
	err := fs.WalkDir(assetFiles, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(assetFiles, name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		a := &asset{plain: data, kind: kinds[path.Ext(name)], version: hex.EncodeToString(sum[:6])}
		if a.kind == "" {
			a.kind = mime.TypeByExtension(path.Ext(name))
		}
		if packable(a.kind) || a.kind == "image/svg+xml" {
			var b bytes.Buffer
			gz, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
			if err != nil {
				return err
			}
			if _, err := gz.Write(data); err != nil {
				return err
			}
			if err := gz.Close(); err != nil {
				return err
			}
			a.packed = b.Bytes()
		}
		out[strings.TrimPrefix(name, "assets/")] = a
		return nil
	})
	return out, err
}

func init() {
	routes = append(routes, route{pattern: "GET /assets/{name...}", serve: serveAsset})
}

func serveAsset(s *Server, w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("name")
	versioned := false
	if folder, rest, cut := strings.Cut(name, "/"); cut && strings.HasPrefix(folder, "~") {
		name, versioned = rest, folder == "~"+scriptsVersion(s.assets)
	}
	a, ok := s.assets[name]
	if !ok {
		return notFound(s, w, r)
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Etag", `"`+a.version+`"`)
	if versioned || r.URL.Query().Get("v") == a.version {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		h.Set("Cache-Control", "no-cache")
	}
	if matches(r, h.Get("Etag")) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	body := a.plain
	if a.packed != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = a.packed
	}
	_, err := w.Write(body)
	return err
}

// matches reports whether the client already has what tag names.
func matches(r *http.Request, tag string) bool {
	for part := range strings.SplitSeq(r.Header.Get("If-None-Match"), ",") {
		part = strings.TrimPrefix(strings.TrimSpace(part), "W/")
		if part == "*" || part == strings.TrimPrefix(tag, "W/") {
			return true
		}
	}
	return false
}

package bundle

import (
	"archive/zip"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/record"
)

// Options is what a bundle is made of.
type Options struct {
	Made   time.Time          // when, for the documents and the entries
	Paper  string             // of the PDF
	Key    ed25519.PrivateKey // signs the manifest; nil: unsigned
	Verify Verifier           // what the documents say of the logs
}

// Pack writes the bundle of a job's folder. Everything in it, the documents
// too, is made of one copy of the folder, so that a job which is being measured
// gives a bundle that fits together. The report is that of the logs.
func Pack(w io.Writer, dir string, o Options) (journal.Report, error) {
	var none journal.Report
	live, err := journal.Load(dir)
	if err != nil {
		return none, err
	}
	tmp, err := os.MkdirTemp("", "thouwright-bundle-")
	if err != nil {
		return none, err
	}
	defer os.RemoveAll(tmp)
	copied, err := journal.Copy(live, tmp)
	if err != nil {
		return none, err
	}
	f, err := journal.Load(copied)
	if err != nil {
		return none, err
	}
	proof, err := o.Verify(copied)
	if err != nil {
		return none, err
	}
	proof.Dir = dir
	r, err := record.Build(f, proof)
	if err != nil {
		return none, err
	}
	return proof, pack(w, r, copied, o)
}

func pack(w io.Writer, r *record.Record, dir string, o Options) error {
	p := newPacker(w, r.Number, o.Made)
	for _, format := range record.Formats() {
		p.add(path.Join(documents, r.Number+"."+format), func(w io.Writer) error {
			return r.Write(w, format, record.Options{Made: o.Made, Paper: o.Paper})
		})
	}
	p.text(helpName, help(r.Number, o.Key != nil))
	names, err := filesUnder(dir)
	if err != nil {
		return err
	}
	for _, name := range names {
		p.add(path.Join(logs, r.Number, name), func(w io.Writer) error {
			f, err := os.Open(filepath.Join(dir, filepath.FromSlash(name)))
			if err != nil {
				return err
			}
			defer f.Close()
			_, err = io.Copy(w, f)
			return err
		})
	}
	if o.Key != nil {
		p.text(keyName, publicPEM(o.Key.Public().(ed25519.PublicKey)))
	}
	text := manifest(p.sums)
	p.text(manifestName, text)
	if o.Key != nil {
		p.text(signName, ed25519.Sign(o.Key, text))
	}
	return p.close()
}

// filesUnder lists the files under a folder, sorted.
func filesUnder(dir string) (names []string, err error) {
	err = filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, p)
		names = append(names, filepath.ToSlash(name))
		return err
	})
	slices.Sort(names)
	return names, err
}

// packer writes entries and keeps their sums. The first error stays.
type packer struct {
	zip    *zip.Writer
	seal   *sealer
	folder string
	made   time.Time
	sums   []sum
	err    error
}

func newPacker(w io.Writer, folder string, made time.Time) *packer {
	s := &sealer{w: w, h: sha256.New()}
	return &packer{zip: zip.NewWriter(s), seal: s, folder: folder, made: made}
}

func (p *packer) text(name string, text []byte) {
	p.add(name, func(w io.Writer) error { _, err := w.Write(text); return err })
}

func (p *packer) add(name string, write func(io.Writer) error) {
	if p.err != nil {
		return
	}
	full := path.Join(p.folder, name)
	if err := checkName(full); err != nil {
		p.err = fmt.Errorf("%s: %w", full, err)
		return
	}
	e, err := p.zip.CreateHeader(&zip.FileHeader{Name: full, Method: zip.Deflate, Modified: p.made.UTC().Truncate(2 * time.Second)})
	h := sha256.New()
	if err == nil {
		err = write(io.MultiWriter(e, h))
	}
	if err != nil {
		p.err = fmt.Errorf("%s: %w", full, err)
		return
	}
	p.sums = append(p.sums, sum{name, hex.EncodeToString(h.Sum(nil))})
}

// close ends the archive with its seal.
func (p *packer) close() error {
	if p.err != nil {
		return p.err
	}
	if err := p.zip.SetComment(sealText(strings.Repeat("0", 2*sha256.Size))); err != nil {
		return err
	}
	if err := p.zip.Close(); err != nil {
		return err
	}
	return p.seal.end()
}

// The seal is the archive's comment, its very last bytes: the sum of every byte
// before it.
const sealWords = "sha256 of all before: "

const sealLen = len(sealWords) + 2*sha256.Size

func sealText(sum string) string { return sealWords + sum }

// sealer passes bytes on and sums them, holding back as many as a seal has.
type sealer struct {
	w    io.Writer
	h    hash.Hash
	tail []byte
}

func (s *sealer) Write(b []byte) (int, error) {
	s.tail = append(s.tail, b...)
	if n := len(s.tail) - sealLen; n > 0 {
		s.h.Write(s.tail[:n])
		if _, err := s.w.Write(s.tail[:n]); err != nil {
			return 0, err
		}
		s.tail = append(s.tail[:0], s.tail[n:]...)
	}
	return len(b), nil
}

// end writes the seal in the place of what is held back.
func (s *sealer) end() error {
	_, err := io.WriteString(s.w, sealText(hex.EncodeToString(s.h.Sum(nil))))
	return err
}

package record

import (
	"archive/zip"
	"bytes"
	"cmp"
	"compress/flate"
	"errors"
	"hash/crc32"
	"io"
	"io/fs"
	"slices"
)

// sortedZip writes an archive's entries in the order of their names, whatever
// the order in which they are given: the same record gives the same bytes. It
// holds them packed until Close.
type sortedZip struct {
	w       *zip.Writer
	entries []*packedEntry
}

func newSortedZip(w io.Writer) *sortedZip { return &sortedZip{w: zip.NewWriter(w)} }

// packedEntry is one entry on its way.
type packedEntry struct {
	name   string
	packed bytes.Buffer
	flate  *flate.Writer
	crc    uint32
	size   uint64
}

func (e *packedEntry) Write(b []byte) (int, error) {
	e.crc = crc32.Update(e.crc, crc32.IEEETable, b)
	e.size += uint64(len(b))
	return e.flate.Write(b)
}

func (z *sortedZip) Create(name string) (io.Writer, error) {
	e := &packedEntry{name: name}
	e.flate, _ = flate.NewWriter(&e.packed, flate.DefaultCompression) // of this level there is no error
	z.entries = append(z.entries, e)
	return e, nil
}

func (z *sortedZip) AddFS(fs.FS) error { return errors.ErrUnsupported }

func (z *sortedZip) Close() error {
	slices.SortFunc(z.entries, func(a, b *packedEntry) int { return cmp.Compare(a.name, b.name) })
	for _, e := range z.entries {
		if err := e.flate.Close(); err != nil {
			return err
		}
		w, err := z.w.CreateRaw(&zip.FileHeader{Name: e.name, Method: zip.Deflate, CRC32: e.crc,
			CompressedSize64: uint64(e.packed.Len()), UncompressedSize64: e.size})
		if err == nil {
			_, err = w.Write(e.packed.Bytes())
		}
		if err != nil {
			return err
		}
	}
	return z.w.Close()
}

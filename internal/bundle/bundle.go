// Package bundle packs a job into one file that proves itself, and checks such
// a file. A bundle is a ZIP archive with one folder, NUMBER:
//
//	NUMBER/documents/…          the record as HTML, PDF, spreadsheet and table
//	NUMBER/how-to-check.txt     for whoever has this file and not this program
//	NUMBER/logs/NUMBER/…        the job's folder, byte for byte
//	NUMBER/signer.pem           the public key, in a signed one
//	NUMBER/manifest.sha256      the SHA-256 sum of each of these, as sha256sum writes and checks it
//	NUMBER/manifest.sig         the Ed25519 signature of the manifest, in a signed one
//
// The entries stand in this order, those that the manifest names sorted by name. Four things hold
// one another: the archive's comment carries the sum of all bytes before it, the
// manifest the sums of the files, the signature the manifest, and the chains of
// the logs every row.
package bundle

import (
	"fmt"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"thouwright/internal/journal"
)

// Names inside a bundle's folder.
const (
	helpName     = "how-to-check.txt"
	keyName      = "signer.pem"
	manifestName = "manifest.sha256"
	signName     = "manifest.sig"
	documents    = "documents"
	logs         = "logs"
)

// Limits on what is read of a bundle that comes from anywhere.
const (
	mostEntries  = 10_000
	mostManifest = 4 << 20
	mostUnpacked = 64 << 30
	mostRatio    = 100 // unpacked to packed; logs give about 5
	freeRatio    = 16 << 20
	mostName     = 512
)

// Verifier checks a job's folder: journal.Verify, with or without playing tapes.
type Verifier func(dir string) (journal.Report, error)

// Report is what a check of a bundle says: a line a file, with what verify says
// of the logs in it.
type Report struct {
	journal.Report
	SignedBy string `json:"signed_by,omitempty"` // the key's fingerprint
}

// checkName refuses a name that could lead out of a folder, or mean different
// things to different programs.
func checkName(name string) error {
	bad := func(why string) error { return fmt.Errorf("refused: %s", why) }
	switch {
	case name == "":
		return bad("an entry without a name")
	case len(name) > mostName:
		return bad(fmt.Sprintf("a name of %d bytes", len(name)))
	case !utf8.ValidString(name):
		return bad("its name is no UTF-8")
	case strings.HasPrefix(name, "/"):
		return bad("an absolute path")
	case strings.ContainsAny(name, `\:`):
		return bad("a backslash or colon in its name")
	case strings.ContainsFunc(name, unicode.IsControl):
		return bad("a control character in its name")
	}
	for _, part := range strings.Split(name, "/") {
		if part == ".." {
			return bad("a path that leads out of the folder")
		}
	}
	if path.Clean(name) != name {
		return bad("a path that is not in its plain form")
	}
	return nil
}

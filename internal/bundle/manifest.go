package bundle

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"strings"
)

// sum is one line of the manifest.
type sum struct {
	name string // in the bundle's folder
	hex  string // SHA-256
}

// manifest writes the sums as sha256sum writes and checks them: the sum, two
// blanks, the name. Names hold no character that it would write otherwise.
func manifest(sums []sum) []byte {
	var b bytes.Buffer
	for _, s := range sums {
		fmt.Fprintf(&b, "%s  %s\n", s.hex, s.name)
	}
	return b.Bytes()
}

// parseManifest reads manifest, and nothing that is written otherwise.
func parseManifest(text []byte) ([]sum, error) {
	var sums []sum
	for n := 1; len(text) > 0; n++ {
		line, rest, whole := bytes.Cut(text, []byte("\n"))
		text = rest
		bad := func(why string) error { return fmt.Errorf("line %d: %s", n, why) }
		h, name, ok := strings.Cut(string(line), "  ")
		switch sumBytes, err := hex.DecodeString(h); {
		case !whole:
			return nil, bad("no line end")
		case !ok || err != nil || len(sumBytes) != 32 || strings.ToLower(h) != h:
			return nil, bad("expected a SHA-256 sum, two blanks and a name")
		case checkName(name) != nil:
			return nil, bad(checkName(name).Error())
		case len(sums) > 0 && name <= sums[len(sums)-1].name:
			return nil, bad("out of order: the names are sorted, and each stands once")
		}
		sums = append(sums, sum{name, h})
	}
	if len(sums) == 0 {
		return nil, errors.New("empty")
	}
	return sums, nil
}

// bare is an error without the path, which the line names anyway.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

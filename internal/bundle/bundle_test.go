package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thouwright/internal/journal"
)

// golden is a job's folder that an earlier build wrote.
const golden = "../journal/testdata/golden/2026-041"

func verify(dir string) (journal.Report, error) { return journal.Verify(dir) }

var (
	madeAt   = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	ownKey   = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
	otherKey = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, ed25519.SeedSize))
)

func public(k ed25519.PrivateKey) ed25519.PublicKey { return k.Public().(ed25519.PublicKey) }

func packed(t *testing.T, key ed25519.PrivateKey) []byte {
	t.Helper()
	var b bytes.Buffer
	proof, err := Pack(&b, golden, Options{Made: madeAt, Key: key, Verify: verify})
	if err != nil || !proof.Holds {
		t.Fatal(err, proof)
	}
	return b.Bytes()
}

func check(t *testing.T, archive []byte, signer ed25519.PublicKey) (Report, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "b.zip")
	if err := os.WriteFile(file, archive, 0o644); err != nil {
		t.Fatal(err)
	}
	return Check(file, signer, verify)
}

// lineOf is a file's line in a report.
func lineOf(r Report, name string) journal.FileReport {
	for _, x := range r.Files {
		if x.Name == name {
			return x
		}
	}
	return journal.FileReport{Text: "no line"}
}

func damaged(r Report) (lines []string) {
	for _, x := range r.Files {
		if !x.Holds {
			lines = append(lines, x.Name+": "+x.Text)
		}
	}
	return lines
}

// entry is a file of an archive.
type entry struct {
	name string
	data []byte
}

func entries(t *testing.T, archive []byte) (list []entry) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, entry{f.Name, data})
	}
	return list
}

// repack makes an archive of entries with a seal that fits: what somebody does
// who knows how it is made.
func repack(t *testing.T, list []entry) []byte {
	t.Helper()
	var b bytes.Buffer
	p := newPacker(&b, "", madeAt)
	for _, e := range list {
		w, err := p.zip.Create(e.name)
		if err == nil {
			_, err = w.Write(e.data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := p.close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// remade is the entries with a manifest that fits them, signed if there is a key.
func remade(list []entry, key ed25519.PrivateKey) []entry {
	var sums []sum
	var out []entry
	for _, e := range list {
		name := strings.TrimPrefix(e.name, "2026-041/")
		if name == manifestName || name == signName {
			continue
		}
		if name == keyName && key != nil {
			e.data = publicPEM(public(key))
		}
		s := sha256.Sum256(e.data)
		sums = append(sums, sum{name, hex.EncodeToString(s[:])})
		out = append(out, e)
	}
	text := manifest(sums)
	out = append(out, entry{"2026-041/" + manifestName, text})
	if key != nil {
		out = append(out, entry{"2026-041/" + signName, ed25519.Sign(key, text)})
	}
	return out
}

func TestABundleHolds(t *testing.T) {
	for _, key := range []ed25519.PrivateKey{nil, ownKey} {
		archive := packed(t, key)
		r, err := check(t, archive, nil)
		if err != nil || !r.Holds {
			t.Fatal(err, damaged(r))
		}
		if r.Number != "2026-041" || (r.SignedBy != "") != (key != nil) {
			t.Errorf("number %q, signed by %q", r.Number, r.SignedBy)
		}
		var names []string
		for _, e := range entries(t, archive) {
			names = append(names, strings.TrimPrefix(e.name, "2026-041/"))
		}
		rest := names[:slices.Index(names, manifestName)]
		if !slices.IsSorted(rest) {
			t.Errorf("the entries are not in order: %q", names)
		}
		for _, want := range []string{"documents/2026-041.pdf", "documents/2026-041.html", "documents/2026-041.xlsx", "documents/2026-041.csv",
			"logs/2026-041/readings.2.csv", "logs/2026-041/job.toml", "logs/2026-041/bench.toml", "logs/2026-041/drivers/signed-decimal.toml", "logs/2026-041/tapes/dial-1.tape"} {
			if !slices.Contains(names, want) {
				t.Errorf("%s is not in the bundle", want)
			}
		}
		again := entries(t, packed(t, key))
		for i, e := range entries(t, archive) {
			if !bytes.Equal(e.data, again[i].data) {
				t.Errorf("%s: the same folder and time give other bytes", e.name)
			}
		}
	}
}

// The logs in a bundle are those of the folder, byte for byte.
func TestTheLogsAreCopiedToTheByte(t *testing.T) {
	for _, e := range entries(t, packed(t, nil)) {
		name, ok := strings.CutPrefix(e.name, "2026-041/logs/2026-041/")
		if !ok {
			continue
		}
		if want, err := os.ReadFile(filepath.Join(golden, name)); err != nil || !bytes.Equal(want, e.data) {
			t.Errorf("%s differs (%v)", name, err)
		}
	}
}

// Whatever byte of the file is changed, missing or added, it is found.
func TestEveryByteIsSealed(t *testing.T) {
	archive := packed(t, ownKey)
	found := func(what string, at int, other []byte) {
		if holds, _, err := checkSeal(bytes.NewReader(other), int64(len(other))); err != nil || holds {
			t.Errorf("%s at %d of %d is not found (%v)", what, at, len(archive), err)
		}
	}
	flip := func(at int) []byte {
		other := bytes.Clone(archive)
		other[at] ^= 1 << (at % 8)
		return other
	}
	r := rand.New(rand.NewPCG(1, 1))
	for i := range 600 {
		at := r.IntN(len(archive))
		if i < 150 { // the end has most to lose: directory, seal
			at = len(archive) - 1 - i
		}
		found("a flipped bit", at, flip(at))
		if i%10 == 0 {
			found("a missing byte", at, slices.Delete(bytes.Clone(archive), at, at+1))
			found("an added byte", at, slices.Insert(bytes.Clone(archive), at, 'x'))
			found("a cut", at, archive[:at])
		}
	}
	found("an added end", len(archive), append(bytes.Clone(archive), '0'))
	// And the whole check says so, in a line of the archive, wherever it can
	// still be read; it never takes it for something else than a damaged bundle.
	for i := range 24 {
		at := i * len(archive) / 24
		if i == 23 {
			at = len(archive) - sealLen - 10 // the directory's end
		}
		rep, err := check(t, flip(at), nil)
		if err != nil || rep.Holds || lineOf(rep, "b.zip").Holds {
			t.Errorf("a flipped bit at %d: %v, %+v", at, err, rep)
		}
	}
	for _, part := range []int{len(archive) / 2, 5000} {
		if rep, err := check(t, archive[:part], nil); err != nil || rep.Holds {
			t.Errorf("cut to %d bytes: %v, %+v", part, err, rep)
		}
	}
}

// With a seal made anew, the manifest finds any change of any entry.
func TestTheManifestFindsEveryChange(t *testing.T) {
	for _, key := range []ed25519.PrivateKey{nil, ownKey} {
		list := entries(t, packed(t, key))
		if r, err := check(t, repack(t, list), nil); err != nil || !r.Holds {
			t.Fatal(err, damaged(r)) // or what follows proves nothing
		}
		find := func(what, at string, changed []entry) {
			t.Helper()
			r, err := check(t, repack(t, changed), nil)
			if err != nil || r.Holds {
				t.Errorf("%s %s is not found (%v)", at, what, err)
			} else if x := lineOf(r, strings.TrimPrefix(at, "2026-041/")); x.Holds {
				t.Errorf("%s %s is laid to others: %q", at, what, damaged(r))
			}
		}
		for i, e := range list {
			other := slices.Clone(list)
			data := bytes.Clone(e.data)
			data[len(data)/2] ^= 4
			other[i].data = data
			if !strings.HasSuffix(e.name, "/"+manifestName) { // what is wrong in it shows at the files
				find("changed", e.name, other)
			}
			other = slices.Clone(list)
			other[i].data = append(bytes.Clone(e.data), '\n')
			find("made longer", e.name, other)
			find("missing", e.name, slices.Delete(slices.Clone(list), i, i+1))
			if i > 0 && key != nil {
				other = slices.Clone(list)
				other[i].data, other[i-1].data = list[i-1].data, list[i].data
				find("swapped", e.name, other)
			}
		}
		find("added", "2026-041/logs/2026-041/rests.9.csv", append(slices.Clone(list), entry{"2026-041/logs/2026-041/rests.9.csv", []byte("x")}))
		find("added", "2026-041/more.txt", append(slices.Clone(list), entry{"2026-041/more.txt", []byte("x")}))
		// Any change of the manifest alone.
		i := slices.IndexFunc(list, func(e entry) bool { return strings.HasSuffix(e.name, manifestName) })
		text := list[i].data
		for at := range text {
			if at%29 != 0 {
				continue
			}
			other := slices.Clone(list)
			other[i].data = bytes.Clone(text)
			other[i].data[at] ^= 1
			if r, err := check(t, repack(t, other), nil); err != nil || r.Holds {
				t.Errorf("byte %d of the manifest changed: %v, %+v", at, err, r)
			}
		}
		lines := bytes.SplitAfter(text, []byte("\n"))
		lines[1], lines[2] = lines[2], lines[1]
		other := slices.Clone(list)
		other[i].data = bytes.Join(lines, nil)
		find("with two lines swapped", "2026-041/"+manifestName, other)
	}
}

// With manifest and seal made anew, the chains find what was changed in the
// logs; a signature finds any change, and another signer is told.
func TestWhatAManifestMadeAnewCannotHide(t *testing.T) {
	list := entries(t, packed(t, ownKey))
	i := slices.IndexFunc(list, func(e entry) bool { return strings.HasSuffix(e.name, "/takes.csv") })
	forged := slices.Clone(list)
	forged[i].data = bytes.Replace(list[i].data, []byte("0.0428"), []byte("0.0429"), 1)
	if bytes.Equal(forged[i].data, list[i].data) {
		t.Fatal("nothing was forged")
	}
	unsigned := slices.DeleteFunc(slices.Clone(forged), func(e entry) bool { return strings.HasSuffix(e.name, keyName) })
	r, err := check(t, repack(t, remade(unsigned, nil)), nil)
	if x := lineOf(r, "logs/2026-041/takes.csv"); err != nil || r.Holds || x.Holds || !strings.Contains(x.Text, "the chain is") {
		t.Errorf("a forged take: %v, %q", err, damaged(r))
	}
	// A document is held by nothing but manifest and signature.
	doc := slices.Clone(list)
	doc[0].data = append(bytes.Clone(doc[0].data), "more\n"...)
	withOld := remade(doc, nil)
	withOld = append(withOld, list[len(list)-1]) // the old signature
	if r, err := check(t, repack(t, withOld), nil); err != nil || r.Holds || lineOf(r, signName).Holds {
		t.Errorf("a manifest made anew under an old signature: %v, %q", err, damaged(r))
	}
	// Signed anew by somebody else it holds, under that name: only knowing the
	// key tells the two apart.
	theirs := repack(t, remade(doc, otherKey))
	if r, err := check(t, theirs, nil); err != nil || !r.Holds || r.SignedBy != Fingerprint(public(otherKey)) {
		t.Errorf("another signer: %v, %q, %q", err, r.SignedBy, damaged(r))
	}
	if r, err := check(t, theirs, public(ownKey)); err != nil || r.Holds || !strings.Contains(lineOf(r, signName).Text, "expected "+Fingerprint(public(ownKey))) {
		t.Errorf("another signer than expected: %v, %q", err, damaged(r))
	}
	if r, err := check(t, packed(t, ownKey), public(ownKey)); err != nil || !r.Holds {
		t.Errorf("the expected signer: %v, %q", err, damaged(r))
	}
	if r, err := check(t, packed(t, nil), public(ownKey)); err != nil || r.Holds {
		t.Errorf("unsigned where a signer is expected: %v, %+v", err, r)
	}
}

// The folder of an unpacked bundle proves itself too.
func TestAnUnpackedBundle(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "for the file")
	for _, e := range entries(t, packed(t, ownKey)) {
		file := filepath.Join(dir, strings.TrimPrefix(e.name, "2026-041/"))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, e.data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if !Is(dir) || Is(golden) {
		t.Error("a job's folder and an unpacked bundle are taken for one another")
	}
	if r, err := Check(dir, public(ownKey), verify); err != nil || !r.Holds {
		t.Fatal(err, damaged(r))
	}
	if err := os.Symlink("/etc/hostname", filepath.Join(dir, "documents", "more.pdf")); err != nil {
		t.Fatal(err)
	}
	if r, err := Check(dir, nil, verify); err != nil || r.Holds || !strings.Contains(lineOf(r, "documents/more.pdf").Text, "a link") {
		t.Errorf("a link in it: %v, %q", err, damaged(r))
	}
}

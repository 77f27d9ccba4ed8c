package journal

import (
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// sheets checks every version against the sum that its event states. A sheet is
// on disk before its event is, so in a log without an end the newest may have none.
func (v *verifier) sheets() {
	stated := map[string]bool{}
	for _, s := range v.f.Sheets {
		x := FileReport{Name: s.Name, Holds: s.Sum == s.Stated, Text: "as used: its sum is the one its event states"}
		stated[s.Name] = true
		switch {
		case s.Stated == "" && !v.stopped() && s.Version > v.f.lastStated(s.First):
			x.Holds, x.Text = true, "no event states its sum yet: the daemon is running, or was killed just then"
		case s.Stated == "":
			x.Text = "no event states its sum"
		case !x.Holds:
			x.Text = "changed: its SHA-256 is " + s.Sum + ", its event states " + s.Stated
		}
		v.report.Files = append(v.report.Files, x)
	}
	for _, e := range v.f.Events {
		if name, _, ok := parseSheetText(e.Text); ok && (e.Kind == ledger.EvSheet || e.Kind == ledger.EvBench) && !stated[name] {
			stated[name] = true
			v.report.Files = append(v.report.Files, FileReport{Name: name, Text: "missing: an event says that it was used"})
		}
	}
}

// torn checks the tails that were cut after a crash.
func (v *verifier) torn() {
	stated := map[string]string{}
	for _, e := range v.f.Events {
		if e.Kind != ledger.EvRepaired {
			continue
		}
		if _, kept, ok := strings.Cut(e.Text, "they are kept: "); ok {
			if name, sum, ok := parseSheetText(kept); ok {
				stated[name] = sum
			}
		}
	}
	for _, name := range v.f.names {
		if !strings.Contains(name, ".torn-") {
			continue
		}
		sum, ok := stated[name]
		delete(stated, name)
		x := FileReport{Name: name, Text: "a torn tail, kept as it was"}
		if text, err := readAll(v.f.fsys, v.f.Dir+"/"+name); err != nil {
			x.Text = "cannot be read: " + bare(err).Error()
		} else if _, have, _ := parseSheetText(sheetText(name, text)); !ok {
			// A crash between keeping the tail and cutting it leaves one too many.
			x.Holds = true
			v.report.Notes = append(v.report.Notes, name+": no event tells of this torn tail")
		} else if x.Holds = have == sum; !x.Holds {
			x.Text = "changed: its SHA-256 is " + have + ", its event states " + sum
		}
		v.report.Files = append(v.report.Files, x)
	}
	for name := range stated {
		v.report.Files = append(v.report.Files, FileReport{Name: name, Text: "missing: an event says that it was kept"})
	}
}

// tapes checks each tape against the sum that the anchor of its run's stop
// carries. A run that was killed left none.
func (v *verifier) tapes() {
	sums := v.tapeSums
	for _, file := range v.f.Tapes {
		name := tapeFolder + "/" + file
		x := FileReport{Name: name, Holds: true, Text: "its sum is the one the anchor of its stop carries"}
		want, ok := sums[anchorName(name)]
		delete(sums, anchorName(name))
		have, size, err := v.sum(name)
		switch {
		case err != nil:
			x.Holds, x.Text = false, "cannot be read: "+bare(err).Error()
		case !ok:
			x.Text = fmt.Sprintf("%d bytes; no anchor carries its sum (the run has not stopped, or was killed)", size)
		case have != want:
			x.Holds, x.Text = false, fmt.Sprintf("changed: its sum is %s, the anchor carries %s", have, want)
		}
		v.report.Files = append(v.report.Files, x)
	}
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		v.report.Files = append(v.report.Files, FileReport{Name: name, Text: "missing: an anchor carries its sum"})
	}
}

func (v *verifier) sum(name string) (c ledger.Chain, size int64, err error) {
	r, err := v.f.open(name)
	if err != nil {
		return c, 0, err
	}
	defer r.Close()
	h := sha256.New()
	size, err = io.Copy(h, r)
	return shortSum(h), size, err
}

// others names what stands in the folder and is no part of the log.
func (v *verifier) others() {
	known := map[string]bool{lockName: true, driverFolder: true, photoFolder: true, tapeFolder: true}
	for _, x := range v.report.Files {
		known[x.Name] = true
	}
	for _, name := range v.f.names {
		if !known[name] {
			v.report.Notes = append(v.report.Notes, name+" is no part of the log")
		}
	}
}

// stopped tells whether the log ends with the anchor of a stop.
func (v *verifier) stopped() bool {
	n := len(v.f.Events)
	return n > 0 && v.f.Events[n-1].Kind == ledger.EvAnchor && len(v.anchors) > 0 && v.anchors[len(v.anchors)-1].why == stopAnchor
}

// ending checks how the log ends: in order, with an anchor behind the last row
// of every file, or without (the daemon runs, or was killed).
func (v *verifier) ending() {
	if n := len(v.f.Events); !v.stopped() {
		if n > 0 && v.f.Events[n-1].Kind == ledger.EvStop {
			v.fail(v.lastName(ledger.EventsFile), "the anchor behind the last stop is missing")
			return
		}
		v.report.Notes = append(v.report.Notes, "the log does not end with a stop: the daemon is running, or was killed; rows behind the last anchor cannot be counted")
		return
	}
	for _, x := range v.anchors[len(v.anchors)-1].entries {
		if v.found[x.file] == nil {
			continue // a tape
		}
		behind := v.rows[x.file] - v.found[x.file][x.chain]
		if x.file == v.lastName(ledger.EventsFile) {
			behind-- // the anchor itself
		}
		if behind > 0 && v.isLast(x.file) {
			v.fail(x.file, fmt.Sprintf("%d rows were added behind the last stop", behind))
		}
	}
}

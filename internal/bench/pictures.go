package bench

import (
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// sheetPictures has an event state the sum of every picture that the sheet's
// notes name, each once, so that verify finds one changed or missing. They are
// read off the loop, which waits for no disk. One that is not in the job's
// folder yet is looked for again at the next start or edit.
func (d *Daemon) sheetPictures(f *files) {
	if f.job == nil {
		return
	}
	var names []string
	for _, n := range f.job.Notes {
		if n.Photo != "" && !d.session.pictures[n.Photo] {
			names = append(names, n.Photo)
		}
	}
	number, dir := d.session.number, d.session.journal.Dir()
	d.aside.Go(func() {
		for _, name := range names {
			if sum, err := journal.PhotoSum(dir, name); err == nil {
				// Refused only where another job is in hand by now.
				_ = d.in.do(d.ctx, ledger.Command{Do: ledger.DoNote, Job: number, Photo: name, PhotoSum: sum, By: "sheet"})
			}
		}
	})
}

package bench

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"thouwright/config"
	"thouwright/internal/bundle"
	"thouwright/internal/capture"
	"thouwright/internal/form"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/page"
	"thouwright/internal/record"
)

// openPage opens the page's socket. That it is taken is one clear line.
func (d *Daemon) openPage() error {
	s, err := page.New(page.Options{
		Listen:    d.files.bench.Page.Listen,
		Log:       d.log,
		SaveSheet: d.saveSheet,
		Sheet:     d.sheetText,
		Photo:     d.keepPhoto,
		Record:    d.writeRecord,
		Health:    d.health,
		Metrics:   d.count.handler(),
	}, d)
	if err != nil {
		return err
	}
	d.page = s
	if d.o.Terminal != nil && s.Networked() {
		fmt.Fprintf(d.o.Terminal, "pair a screen: %s\n", s.PairingURL())
		return page.PrintCode(d.o.Terminal, s.PairingURL())
	}
	return nil
}

// saveSheet writes a job sheet that the page made, once it is free of
// mistakes. The watcher then finds it as if a person had saved it.
func (d *Daemon) saveSheet(number string, text []byte) error {
	b := d.benchNow.Load()
	_, problems := config.SaveSheet(b, number, text, d.catNow.Load(), true)
	if config.Refused(problems) {
		return problemsError(problems)
	}
	d.reload() // at once: the person who saved it looks for it now
	return nil
}

func (d *Daemon) sheetText(number string) ([]byte, error) {
	path, err := config.FindJob(d.benchNow.Load(), number)
	if err != nil {
		return nil, err
	}
	return form.ReadFile(path, "job sheet")
}

// writeRecord writes the document of a job in a format, or its bundle. The tapes are not played
// again for it: a page's reader would wait too long.
func (d *Daemon) writeRecord(w io.Writer, number, format string) error {
	dir := filepath.Join(d.benchNow.Load().LogDir, number)
	made := time.Now().UTC()
	if format == "bundle" {
		_, err := bundle.Pack(w, dir, bundle.Options{Made: made, Verify: func(dir string) (journal.Report, error) { return journal.Verify(dir) }})
		return err
	}
	f, err := journal.Load(dir)
	if err != nil {
		return err
	}
	proof, err := journal.Verify(dir)
	if err != nil {
		return err
	}
	r, err := record.Build(f, proof)
	if err != nil {
		return err
	}
	return r.Write(w, format, record.Options{Made: made})
}

// inHand is the number of the job in hand, by which its folder is called.
func (d *Daemon) inHand() string {
	if j := d.hub.State().Job; j != nil {
		return j.Number
	}
	return capture.LooseNumber
}

// keepPhoto keeps a picture beside the logs of the job in hand.
func (d *Daemon) keepPhoto(picture io.Reader) (string, error) {
	return journal.KeepPhoto(filepath.Join(d.benchNow.Load().LogDir, d.inHand()), picture)
}

// withPhoto adds to a note with a photograph what it needs on the loop: the
// picture's sum, read here because the loop waits for no disk, and the job whose
// folder it lies in.
func (d *Daemon) withPhoto(c ledger.Command) (ledger.Command, error) {
	var err error
	c.Job = d.inHand()
	c.PhotoSum, err = journal.PhotoSum(filepath.Join(d.benchNow.Load().LogDir, c.Job), c.Photo)
	return c, err
}

const standsAfter = 10 * time.Second

// health says what is wrong with the daemon: nil while everything is kept.
func (d *Daemon) health() error {
	// A loop that turns makes a state at least once a second.
	if age := d.hub.age(); age > standsAfter {
		return fmt.Errorf("the loop has stood still for %d s", int(age.Seconds()))
	}
	for _, p := range d.hub.State().Problems {
		if !p.Warning {
			return errors.New(p.String())
		}
	}
	return nil
}

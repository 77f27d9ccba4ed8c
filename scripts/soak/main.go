//go:build linux

// Command soak measures the daemon under many gauges, beside what a person
// would use instead and beside the floor: reading the same terminals and
// throwing the bytes away. The gauges are simulated in a process of their own.
//
//	go run ./scripts/soak -gauges 256 -rate 50 -seconds 60
//
// It prints a table, and fails where the daemon lost a reading or grew.
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"
)

type options struct {
	gauges  int
	rate    float64
	seconds int
	only    bool
	starts  int
	flood   int
	log     string
}

func main() {
	var o options
	simulate := flag.Bool("simulate", false, "be the gauges (used by soak itself)")
	flag.IntVar(&o.gauges, "gauges", 256, "how many gauges")
	flag.Float64Var(&o.rate, "rate", 50, "readings a second, each")
	flag.IntVar(&o.seconds, "seconds", 60, "how long")
	flag.IntVar(&o.starts, "starts", 0, "measure so many starts instead")
	flag.IntVar(&o.flood, "flood", 0, "so many connections of strangers to the page for half of the time, instead of the comparison")
	flag.StringVar(&o.log, "log", "", "write what the daemon uses, as it goes, to this CSV file")
	flag.BoolVar(&o.only, "only", false, "the daemon alone, without what it is compared with")
	flag.Parse()
	if *simulate {
		beGauges(o)
		return
	}
	if err := run(o); err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
}

// result is what one contender cost.
type result struct {
	name       string
	sent, kept int
	cpu        time.Duration
	rss        int // MB, the largest sum over its processes
	note       string
}

func run(o options) error {
	dir, err := os.MkdirTemp("", "thouwright-soak-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	bin := filepath.Join(dir, "thouwright")
	build := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", bin, "./cmd/thouwright")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		return err
	}
	if o.starts > 0 {
		return starts(bin, dir, o.starts)
	}
	contenders := []func(string, string, options) (result, error){daemon}
	if o.flood > 0 {
		contenders = []func(string, string, options) (result, error){attacked}
	} else if !o.only {
		contenders = append(contenders, bareRead, terminalProgram, script)
	}
	var all []result
	for i, c := range contenders {
		sub := filepath.Join(dir, strconv.Itoa(i))
		if err := os.Mkdir(sub, 0o755); err != nil {
			return err
		}
		r, err := c(sub, bin, o)
		if err != nil {
			return err
		}
		all = append(all, r)
	}
	printTable(o, all)
	if d := all[0]; d.kept != d.sent {
		return fmt.Errorf("the daemon kept %d of %d readings", d.kept, d.sent)
	}
	return nil
}

func printTable(o options, all []result) {
	var floor time.Duration
	for _, r := range all {
		if r.name == floorName {
			floor = r.cpu
		}
	}
	fmt.Printf("%d gauges, %g readings/s each, %d s\n\n", o.gauges, o.rate, o.seconds)
	fmt.Println("| what | sent | kept | of a core | CPU over the floor | memory, MB | note |")
	fmt.Println("| --- | ---: | ---: | ---: | ---: | ---: | --- |")
	for _, r := range all {
		over := ""
		if floor > 0 {
			over = fmt.Sprintf("%.1f", float64(r.cpu)/float64(floor))
		}
		fmt.Printf("| %s | %d | %d | %.1f %% | %s | %d | %s |\n", r.name, r.sent, r.kept,
			100*r.cpu.Seconds()/float64(o.seconds), over, r.rss, r.note)
	}
}

// daemon runs the program itself and watches it grow, or not.
func daemon(dir, bin string, o options) (result, error) {
	r := result{name: "thouwright"}
	g, err := startGauges(o)
	if err != nil {
		return r, err
	}
	defer g.stop()
	d, err := startDaemon(dir, bin, g)
	if err != nil {
		return r, err
	}
	defer d.cmd.Process.Kill()
	at0 := usage(d.pid())
	w, err := newWatch(d.url, d.pid(), o)
	if err != nil {
		return r, err
	}
	g.begin()
	if err := w.run(); err != nil {
		return r, err
	}
	r.sent = g.end()
	r.cpu, r.rss = usage(d.pid()).cpu-at0.cpu, w.rss
	if r.kept, err = d.end(dir); err != nil {
		return r, err
	}
	r.note, err = w.verdict()
	return r, err
}

// running is a daemon at work.
type running struct {
	cmd *exec.Cmd
	url string
}

func (d *running) pid() int { return d.cmd.Process.Pid }

// startDaemon starts the program on the gauges' ports and waits until all are up.
func startDaemon(dir, bin string, g *gauges) (*running, error) {
	var b strings.Builder
	b.WriteString("log_dir = \"logs\"\n[sound]\noutput = \"none\"\n[page]\nlisten = \"127.0.0.1:0\"\n")
	for i, p := range g.ports {
		fmt.Fprintf(&b, "[[gauge]]\nname = \"g%d\"\nport = %q\ndriver = \"signed-decimal\"\nunit = \"mm\"\n", i, p)
	}
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(b.String()), 0o644); err != nil {
		return nil, err
	}
	d := &running{cmd: exec.Command(bin, "run", "-b", filepath.Join(dir, "bench.toml"))}
	log, err := d.cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := d.cmd.Start(); err != nil {
		return nil, err
	}
	if d.url, err = findURL(log); err == nil {
		err = waitUp(d.url, len(g.ports))
	}
	if err != nil {
		d.cmd.Process.Kill()
		return nil, err
	}
	return d, nil
}

// end stops the daemon as a service manager does and counts what it kept.
func (d *running) end(dir string) (kept int, err error) {
	time.Sleep(1500 * time.Millisecond)
	if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return 0, err
	}
	if err := d.cmd.Wait(); err != nil {
		return 0, fmt.Errorf("the daemon did not end well: %w", err)
	}
	parts, err := filepath.Glob(filepath.Join(dir, "logs", "loose", "readings*.csv"))
	if err != nil {
		return 0, err
	}
	for _, p := range parts {
		n, err := lines(p)
		if err != nil {
			return 0, err
		}
		kept += n - 1
	}
	return kept, nil
}

var urlInLog = regexp.MustCompile(`"page":"(http://[^"]+)"`)

func findURL(log io.Reader) (string, error) {
	sc := bufio.NewScanner(log)
	for sc.Scan() {
		if m := urlInLog.FindStringSubmatch(sc.Text()); m != nil {
			go io.Copy(io.Discard, log)
			return m[1], nil
		}
	}
	return "", errors.New("the daemon never said where its page is")
}

// waitUp waits until every gauge's port is open, so that every reading sent has
// somebody to keep it.
func waitUp(url string, n int) error {
	for range 600 {
		var s struct{ Gauges []struct{ Link string } }
		if res, err := http.Get(url + "api/state"); err == nil {
			err = json.NewDecoder(res.Body).Decode(&s)
			res.Body.Close()
			up := 0
			for _, g := range s.Gauges {
				if g.Link == "up" || g.Link == "silent" {
					up++
				}
			}
			if err == nil && up == n {
				return nil
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	return errors.New("the gauges never were all up")
}

//go:build linux

package main

import (
	"bufio"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
)

// What growth is not: threads come when many goroutines are in a call of the
// kernel at once (256 ports being opened) or are held up in one by a busy
// computer (244 were seen where three others wanted each core, 44 in an hour at
// rest), and they stay; how much memory the process holds swings with the
// collector's pace. So threads and resident memory are bounded, and what has to
// stand still is what a collection finds in use, the goroutines and the files,
// from the end of the first quarter on.
const (
	moreThreads = 64  // than gauges
	mostMemory  = 100 // MB resident; the aim of 80 is reported, not enforced, since a busy computer collects late
	heapSlack   = 3.0 // MB: what a collection finds in flight varies by 1.6 in a run of seconds
)

// sample is what the daemon uses at a moment.
type sample struct {
	at                        time.Duration
	heap                      float64 // MB that the last collection found in use
	goroutines                int
	rss, threads, files, lost int
}

// watch asks the daemon and the system what the daemon uses.
type watch struct {
	url     string
	pid     int
	seconds int
	gauges  int
	samples []sample
	rss     int
	log     *os.File
}

func newWatch(url string, pid int, o options) (*watch, error) {
	w := &watch{url: url, pid: pid, seconds: o.seconds, gauges: o.gauges}
	if o.log == "" {
		return w, nil
	}
	f, err := os.Create(o.log)
	if err != nil {
		return nil, err
	}
	w.log = f
	_, err = fmt.Fprintln(f, "seconds,heap_mb,goroutines,resident_mb,threads,files,lost,cpu_s")
	return w, err
}

// run watches for the whole time. What the daemon itself has to answer is asked
// seldom: it is part of what it costs.
func (w *watch) run() error {
	began := time.Now()
	every := max(2, w.seconds/60)
	for n := 1; n <= w.seconds; n++ {
		time.Sleep(time.Until(began.Add(time.Duration(n) * time.Second)))
		u := usage(w.pid)
		w.rss = max(w.rss, u.rss)
		if n%every != 0 {
			continue
		}
		m, err := metrics(w.url)
		if err != nil {
			return fmt.Errorf("after %d s the daemon does not answer: %w", n, err)
		}
		s := sample{time.Since(began), m["go_gc_heap_live_bytes"] / (1 << 20), int(m["go_goroutines"]), u.rss, u.threads, u.files, int(m["thouwright_readings_lost"])}
		w.samples = append(w.samples, s)
		if w.log != nil {
			fmt.Fprintf(w.log, "%.0f,%.2f,%d,%d,%d,%d,%d,%.2f\n", s.at.Seconds(), s.heap, s.goroutines, s.rss, s.threads, s.files, s.lost, u.cpu.Seconds())
		}
	}
	if w.log != nil {
		return w.log.Close()
	}
	return nil
}

// verdict compares the second quarter with the last one, median with median.
func (w *watch) verdict() (note string, err error) {
	n := len(w.samples)
	if n < 4 {
		return "too short to see growth", nil
	}
	early, late := w.samples[n/4:n/2], w.samples[n-max(n/4, 1):]
	of := func(s []sample, f func(sample) float64) float64 {
		var all []float64
		for _, x := range s {
			all = append(all, f(x))
		}
		slices.Sort(all)
		return all[len(all)/2]
	}
	heap := func(x sample) float64 { return x.heap }
	goroutines := func(x sample) float64 { return float64(x.goroutines) }
	files := func(x sample) float64 { return float64(x.files) }
	h0, h1 := of(early, heap), of(late, heap)
	g0, g1 := of(early, goroutines), of(late, goroutines)
	f0, f1 := of(early, files), of(late, files)
	threads := w.samples[n-1].threads
	note = fmt.Sprintf("heap in use %.1f then %.1f MB, goroutines %.0f then %.0f, files %.0f then %.0f, threads at most %d", h0, h1, g0, g1, f0, f1, threads)
	if h1 > 1.1*h0+heapSlack || g1 > g0+3 || f1 > f0+3 || threads > w.gauges+moreThreads || w.rss > mostMemory || w.samples[n-1].lost > 0 {
		return note, fmt.Errorf("the daemon grew or lost: %s, %d MB resident, %d readings lost", note, w.rss, w.samples[n-1].lost)
	}
	return note, nil
}

// metrics are the plain values of the daemon's figures.
func metrics(url string) (map[string]float64, error) {
	res, err := http.Get(url + "metrics")
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("the figures: %s", res.Status)
	}
	all := map[string]float64{}
	sc := bufio.NewScanner(res.Body)
	for sc.Scan() {
		if name, value, ok := strings.Cut(sc.Text(), " "); ok && name != "#" {
			if v, err := strconv.ParseFloat(value, 64); err == nil {
				all[name] = v
			}
		}
	}
	for _, name := range []string{"go_gc_heap_live_bytes", "go_goroutines", "thouwright_readings_lost"} {
		if _, ok := all[name]; !ok {
			return nil, fmt.Errorf("the figures have no %s", name)
		}
	}
	return all, sc.Err()
}

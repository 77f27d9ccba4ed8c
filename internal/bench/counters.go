package bench

import (
	"net/http"
	"regexp"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
)

// counters are the daemon's figures for a monitoring system.
type counters struct {
	registry *prometheus.Registry
	reads    prometheus.Counter
	faults   *prometheus.CounterVec
	notes    *prometheus.CounterVec
	takes    *prometheus.CounterVec
	losses   *prometheus.CounterVec
	lost     prometheus.Gauge
	handled  prometheus.Histogram
	logged   prometheus.Histogram
	syncs    prometheus.Histogram
	waiting  waiting
	byFault  [ledger.Garbled + 1]prometheus.Counter
}

func newCounters(queued func() float64, loggedLag func() float64) *counters {
	c := &counters{registry: prometheus.NewRegistry()}
	vec := func(name, help, label string) *prometheus.CounterVec {
		v := prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "thouwright", Name: name, Help: help}, []string{label})
		c.registry.MustRegister(v)
		return v
	}
	c.reads = prometheus.NewCounter(prometheus.CounterOpts{Namespace: "thouwright", Name: "readings_total", Help: "Readings taken in, faults too."})
	c.faults = vec("reading_faults_total", "Readings without a usable value, by fault.", "fault")
	c.notes = vec("gauge_notes_total", "Gauges that fell silent, spoke again or could not be read.", "kind")
	c.takes = vec("takes_total", "Takes on disk, by verdict.", "verdict")
	c.losses = vec("links_total", "Changes of a port's state.", "link")
	histogram := func(name, help string, buckets ...float64) prometheus.Histogram {
		h := prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: "thouwright", Name: name, Help: help, Buckets: buckets})
		c.registry.MustRegister(h)
		return h
	}
	c.handled = histogram("handling_lag_seconds", "From reading a chunk's bytes at the port to its turn in the loop.", 0.0001, 0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3)
	c.logged = histogram("logging_lag_seconds", "From reading the bytes at the port to the synced row: at each sync, of the oldest reading it holds.", 0.003, 0.01, 0.03, 0.1, 0.3, 1, 1.5, 3, 10, 30)
	c.syncs = histogram("sync_seconds", "Making everything that waited durable, each time it could be done.", 0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10)
	c.lost = prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "thouwright", Name: "readings_lost", Help: "Readings lost to a disk that cannot be written, since the job was opened."})
	c.registry.MustRegister(c.reads, c.lost,
		collectors.NewGoCollector(collectors.WithGoCollectorRuntimeMetrics(liveHeap)), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "thouwright", Name: "queue_items", Help: "Chunks and commands waiting for the loop."}, queued),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "thouwright", Name: "unsynced_readings", Help: "Readings taken in and not yet synced to the disk."}, loggedLag))
	for f := range c.byFault {
		c.byFault[f] = c.faults.WithLabelValues(ledger.Fault(f).String())
	}
	return c
}

// liveHeap is what the last collection found in use, as go_gc_heap_live_bytes:
// unlike what the process holds it does not swing with the collector's pace, so
// it tells growth from none.
var liveHeap = collectors.GoRuntimeMetricsRule{Matcher: regexp.MustCompile(`^/gc/heap/live:bytes$`)}

func (c *counters) reading(f ledger.Fault) {
	c.reads.Inc()
	if f != ledger.NoFault {
		c.byFault[f].Inc()
	}
}

// waiting are readings on their way to the disk, by the moments at which their
// bytes were read: one for each while of arrival, oldest first.
type waiting []arrived

type arrived struct {
	seq     uint64 // the last reading of the while
	elapsed int64  // when its first was read
}

const (
	arrivalWhile = 20_000 // µs: as fine as a logging lag is told
	mostWaiting  = 4096   // beyond it the disk has stood for over a minute, which is said elsewhere
)

// add takes a reading that goes to the journal.
func (w *waiting) add(seq uint64, elapsed int64) {
	if n := len(*w); n > 0 && (elapsed-(*w)[n-1].elapsed < arrivalWhile || n == mostWaiting) {
		(*w)[n-1].seq = seq
		return
	}
	*w = append(*w, arrived{seq, elapsed})
}

// synced drops what is on the disk up to a reading, and tells when the oldest
// of it was read.
func (w *waiting) synced(seq uint64) (oldest int64, ok bool) {
	n := 0
	for n < len(*w) && (*w)[n].seq <= seq {
		n++
	}
	if n == 0 {
		return 0, false
	}
	oldest = (*w)[0].elapsed
	*w = append((*w)[:0], (*w)[n:]...)
	return oldest, true
}

// keptUpTo observes how long the readings up to seq were on their way.
func (c *counters) keptUpTo(seq uint64, elapsed int64) {
	if oldest, ok := c.waiting.synced(seq); ok {
		c.logged.Observe(float64(elapsed-oldest) / 1e6)
	}
}

func (c *counters) synced(took time.Duration) { c.syncs.Observe(took.Seconds()) }

func (c *counters) note(k gauge.NoteKind) { c.notes.WithLabelValues(k.String()).Inc() }

func (c *counters) link(l gauge.Link) { c.losses.WithLabelValues(l.String()).Inc() }

func (c *counters) take(v ledger.Verdict) {
	if v == ledger.NoVerdict {
		v = "none"
	}
	c.takes.WithLabelValues(string(v)).Inc()
}

func (c *counters) handler() http.Handler {
	return promhttp.HandlerFor(c.registry, promhttp.HandlerOpts{})
}

// unsynced is how many readings were taken in and are not on the disk yet.
func (d *Daemon) unsynced() float64 {
	return float64(d.taken.Load() - d.kept.Load())
}

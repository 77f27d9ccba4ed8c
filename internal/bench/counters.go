package bench

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
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
	c.registry.MustRegister(c.reads,
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "thouwright", Name: "queue_items", Help: "Chunks and commands waiting for the loop."}, queued),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "thouwright", Name: "unsynced_readings", Help: "Readings taken in and not yet synced to the disk."}, loggedLag))
	for f := range c.byFault {
		c.byFault[f] = c.faults.WithLabelValues(ledger.Fault(f).String())
	}
	return c
}

func (c *counters) reading(f ledger.Fault) {
	c.reads.Inc()
	if f != ledger.NoFault {
		c.byFault[f].Inc()
	}
}

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

package proving

import (
	"fmt"
	"math"
	"math/rand/v2"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// Cell is one set of circumstances whose takes are counted together. Lengths
// in mm; a take of a cell has no short strokes and no knocks, so that an oracle
// that knows the noise can be given the very same rests.
type Cell struct {
	Step    float64
	Noise   float64 // standard deviation of a stop, in units (the step, or 2 µm where it is finer)
	Drift   float64 // mm a minute
	Strokes int
	Small   bool // a play below one step; else of 4 to 30 units
}

// Unit is what the figures of a cell are counted in: the step, or 2 µm.
func (c Cell) Unit() float64 { return math.Max(c.Step, 0.002) }

func (c Cell) String() string {
	play := "4 to 30"
	if c.Small {
		play = "below 1"
	}
	return fmt.Sprintf("| %.4f | %.2f | %3.0f | %2d | %s |", c.Step, c.Noise, 1000*c.Drift, c.Strokes, play)
}

// driftPerMinute is the drift of the drifting cells, in units.
const driftPerMinute = 2

// Cells are the cells of the table: every noise with few and many strokes, with
// and without a drift of a unit a minute (which a whole take shows as a good part
// of a unit), and, where the hand is quiet, a play below one step.
func Cells(steps, noises []float64) (cells []Cell) {
	for _, d := range steps {
		for _, k := range noises {
			for _, strokes := range []int{6, 10} {
				c := Cell{Step: d, Noise: k, Strokes: strokes}
				drifting := c
				drifting.Drift = driftPerMinute * c.Unit()
				cells = append(cells, c, drifting)
				if k <= 0.1 {
					c.Small = true
					cells = append(cells, c)
				}
			}
		}
	}
	return cells
}

// stop is one stop of a hand as it truly was.
type stop struct {
	from, to float64 // held
	side     float64
}

// draw makes a take of the cell with the given play.
func (c Cell) draw(r *rand.Rand, play float64) (Case, []stop) {
	rate := 6 + 10*r.Float64()
	g := simulate.Gauge{Step: c.Step, Rate: rate, Jitter: 0.2, Offset: 6 * (r.Float64() - 0.5), Drift: c.Drift / 60}
	h := simulate.Hand{Hold: [2]float64{0.7, 1.6}, Stroke: [2]float64{0.15, 0.4}}
	var p simulate.Path
	h.SetUp(&p, r, 2, 4)
	var stops []stop
	side := 1.0
	for range 2*c.Strokes + 10 {
		at := side*play/2 + c.Noise*c.Unit()*r.NormFloat64()
		p.Glide(at, 0.15+0.25*r.Float64())
		from := p.End()
		p.Hold(0.7+0.9*r.Float64(), 0, 0)
		stops = append(stops, stop{from: from, to: p.End(), side: side})
		side = -side
	}
	return Case{Step: c.Step, Digit: c.Step, Play: play, Noise: c.Noise * c.Unit(), Strokes: c.Strokes, Readings: g.Read(&p, r)}, stops
}

// Row is what a cell's takes came to, beside the oracle's.
type Row struct {
	Cell            Cell
	N, Done         int
	Cover           float64
	OracleCover     float64
	U95, OracleU95  float64 // medians, in units; without upper bounds, which no oracle was asked
	Paired          float64 // median of each take's U95 over its oracle's
	Bounds          int     // takes that gave an upper bound
	Error, OracleEr float64 // medians of the absolute error, in units
	P95, OracleP95  float64
	Passes, Fails   int
	BadPass         float64 // part of the passes whose play was beyond the limit
	BadFail         float64
}

// Header heads the rows' table.
const Header = `| step mm | noise | drift µm/min | strokes | play | takes | done | bounds | covers | oracle covers | U95 | ÷ oracle | take by take | median error | ÷ oracle | bad of passes | bad of fails |
| ---: | ---: | ---: | ---: | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |`

func (r Row) String() string {
	return fmt.Sprintf("%s %d | %.1f %% | %d | %.1f %% | %.1f %% | %.2f | %.2f | %.2f | %.2f | %.2f | %s | %s |", r.Cell, r.N, 100*float64(r.Done)/float64(r.N), r.Bounds, 100*r.Cover, 100*r.OracleCover,
		r.U95, r.U95/r.OracleU95, r.Paired, r.Error, r.Error/r.OracleEr, share(r.BadPass, r.Passes), share(r.BadFail, r.Fails))
}

func share(part float64, of int) string {
	if of == 0 {
		return "none given"
	}
	return fmt.Sprintf("%.1f %% of %d", 100*part, of)
}

// Run measures n takes of the cell, and n more across a limit.
func (c Cell) Run(r *rand.Rand, n int) Row {
	row := Row{Cell: c, N: n}
	var errs, u95, oe, ou, paired []float64
	covered, oracles := 0, 0
	for range n {
		k := 4 + 26*r.Float64()
		if c.Small {
			k = r.Float64()
		}
		take, stops := c.draw(r, k*c.Unit())
		o := runCell(take)
		if !o.Done {
			continue
		}
		row.Done++
		if o.Bound && take.Play <= o.Result.Value || !o.Bound && math.Abs(o.Error) <= o.U95 {
			covered++
		}
		if o.Bound {
			row.Bounds++
			continue
		}
		errs = append(errs, math.Abs(o.Error)/c.Unit())
		u95 = append(u95, o.U95/c.Unit())
		value, u := oracle(stops, o.Result, take, 2*driftPerMinute*c.Unit()/60)
		if math.Abs(value-take.Play) <= u {
			oracles++
		}
		oe = append(oe, math.Abs(value-take.Play)/c.Unit())
		ou = append(ou, u/c.Unit())
		paired = append(paired, o.U95/u)
	}
	row.Cover, row.OracleCover = float64(covered)/float64(row.Done), float64(oracles)/float64(max(1, len(oe)))
	row.U95, row.OracleU95, row.Paired = Quantile(u95, 0.5), Quantile(ou, 0.5), Quantile(paired, 0.5)
	row.Error, row.OracleEr = Quantile(errs, 0.5), Quantile(oe, 0.5)
	row.P95, row.OracleP95 = Quantile(errs, 0.95), Quantile(oe, 0.95)
	if !c.Small {
		c.across(r, n, &row)
	}
	return row
}

// across gives verdicts on plays spread evenly over a limit ± 5 u.
func (c Cell) across(r *rand.Rand, n int, row *Row) {
	u := row.U95 / 2 * c.Unit()
	limit := 12*c.Unit() + 5*u
	badPass, badFail := 0, 0
	for range n {
		take, _ := c.draw(r, limit+5*u*(2*r.Float64()-1))
		o := runCell(take)
		if !o.Done || o.Bound {
			continue
		}
		v := metrology.Decide(o.Result.Value, o.Result.Budget.Combine(), metrology.Limits{Low: math.Inf(-1), High: limit}, 0.95, metrology.Guarded)
		switch v.Verdict {
		case ledger.Pass:
			row.Passes++
			if take.Play > limit {
				badPass++
			}
		case ledger.Fail:
			row.Fails++
			if take.Play <= limit {
				badFail++
			}
		}
	}
	row.BadPass = float64(badPass) / float64(max(1, row.Passes))
	row.BadFail = float64(badFail) / float64(max(1, row.Fails))
}

// runCell runs a take; where nothing was seen to move, a person says so.
func runCell(take Case) Outcome {
	s := method.Spec{Method: method.Play, Unit: quantity.MM, Strokes: take.Strokes, Gauge: method.Gauge{HasError: true}}
	mem := new(method.GaugeMemory)
	m, err := method.New(s, mem, nil)
	if err != nil {
		panic(err) // the spec above is constant
	}
	res := Feed(m, mem, take.Readings, take.Digit, nil)
	if res == nil {
		var out method.Out
		last := take.Readings[len(take.Readings)-1].T
		m.Finish(last, &out)
		m.Finish(last+4, &out) // having rocked once more
		if res = out.Result; res == nil {
			return Outcome{}
		}
	}
	return Outcome{Done: true, Error: res.Value - take.Play, U95: res.Budget.Combine().U95, Bound: res.Bound, Strokes: res.Strokes, LeftOut: res.LeftOut, Result: res}
}

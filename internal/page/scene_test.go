package page

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"thouwright/internal/ledger"
)

// A scene is a bench as the daemon would show it, played into a fakeDesk: the
// swivel pin of an invented tractor, rocked by a hand.
type scene struct {
	d     *fakeDesk
	begun time.Time
	seq   uint64
}

func newScene() *scene {
	sc := &scene{d: newFakeDesk(), begun: time.Now()}
	sc.set(func(l *ledger.Live) { *l = sc.job() })
	return sc
}

func (sc *scene) elapsed() string {
	return strconv.FormatFloat(time.Since(sc.begun).Seconds()+100, 'f', 6, 64)
}

// set changes the state and says so.
func (sc *scene) set(change func(*ledger.Live)) {
	sc.d.mu.Lock()
	l := sc.d.live
	sc.d.mu.Unlock()
	change(&l)
	l.Time, l.Elapsed = time.Now().UTC().Format("2006-01-02T15:04:05.000000Z"), sc.elapsed()
	sc.d.emit(Update{Event: "state", Data: l})
}

// reading sends one reading in mm.
func (sc *scene) reading(gauge string, mm float64) {
	sc.seq++
	v := strconv.FormatFloat(mm, 'f', 3, 64)
	sc.d.mu.Lock()
	gauges := append([]ledger.LiveGauge(nil), sc.d.live.Gauges...)
	for i := range gauges {
		if g := &gauges[i]; g.Name == gauge {
			g.Value, g.MM, g.Raw, g.Seq, g.Elapsed = v, v, "+"+v, 1200+sc.seq, sc.elapsed()
		}
	}
	sc.d.live.Gauges = gauges
	sc.d.mu.Unlock()
	sc.d.emit(Update{Event: "reading", Gauge: gauge, Data: map[string]string{
		"seq": fmt.Sprint(1200 + sc.seq), "elapsed_s": sc.elapsed(), "gauge": gauge, "raw": "+" + v, "value": v, "unit": "mm", "mm": v, "state": "moving",
	}})
}

// rock moves the pin between its stops for a while, at 40 readings/s, with a
// rest told at each stop.
func (sc *scene) rock(low, play float64, strokes int) {
	for k := 0; k < strokes; k++ {
		to := low
		if k%2 == 1 {
			to = low + play
		}
		from := 2*low + play - to
		for i := 0; i <= 24; i++ {
			at := from + (to-from)*(1-math.Exp(-float64(i)/3))
			sc.reading("dial-1", math.Round(at*1000)/1000)
			time.Sleep(25 * time.Millisecond)
		}
		sc.d.emit(Update{Event: "rest", Data: map[string]string{"gauge": "dial-1", "elapsed_s": sc.elapsed(), "text": ""}})
		if k == 2 {
			sc.set(func(l *ledger.Live) { a := *l.Active; a.LeftOut++; l.Active = &a })
		}
	}
}

func take(n int, position, result, u95, verdict, side, say string) ledger.LiveTake {
	return ledger.LiveTake{"take": fmt.Sprint(n), "time": time.Now().UTC().Format("2006-01-02T15:04:05.000000Z"), "stage": "as found", "component": "left swivel pin", "position": position, "check": "play in bushes",
		"method": "play", "gauge": "dial-1", "unit": "mm", "result": result, "u95": u95, "low": "0.009", "high": "0.050", "verdict": verdict, "side": side, "strokes": "6", "left_out": "0", "replaces": "", "say": say}
}

func (sc *scene) job() ledger.Live {
	first := take(1, "straight ahead", "0.0812", "0.0061", "fail", "above", "too loose by 0.031 mm, at least 0.026")
	redo := take(3, "straight ahead", "0.0809", "0.0058", "fail", "above", "too loose by 0.031 mm, at least 0.026")
	redo["replaces"] = "1"
	second := take(2, "left lock", "0.0312", "0.0049", "pass", "", "inside the limits")
	return ledger.Live{
		Unit: "mm", LoggedSeq: 1200, Stage: "as found",
		Job:  &ledger.LiveJob{Number: "T28-014", Customer: "Moor Farm", Machine: "Tarnbeck T28", Assembly: "front axle", Operator: "A. Wright", Stages: []string{"as found", "assembled"}, Sheet: 1, Done: 3, Total: 11},
		Jobs: []ledger.LiveName{{Number: "T28-014", Machine: "Tarnbeck T28"}, {Number: "T28-009", Machine: "Tarnbeck T28"}},
		Active: &ledger.LiveActive{Component: "left swivel pin", Check: "play in bushes", Position: "right lock", Method: "play", Gauge: "dial-1", Unit: "mm", Low: "0.009", High: "0.050",
			Source: "workshop manual, sheet F4, table 3", Phase: ledger.PhaseMeasuring, Say: "rock it from stop to stop, a moment's rest at each", Strokes: 4, Wanted: 6, Most: 12, Result: "0.0418", U95: "0.0052", Minus1: "3.4120", Plus1: "3.4538",
			Zone: "this gauge can pass 0.014 to 0.045 mm", Next: "left swivel pin, pin diameter: upper", Cautions: []string{"Stands and chocks, never a jack alone."}},
		Gauges: []ledger.LiveGauge{
			{Name: "dial-1", Port: "/dev/serial/by-id/usb-A1", Driver: "signed-decimal", Link: "up", Sends: "stream", Value: "3.412", ReadIn: "mm", MM: "3.412", Motion: "moving", Seq: 1200, Elapsed: "99.9", Step: "0.001", Rate: "10", Good: 1200, Bad: 2, BadRaw: `\x02+3.4\xff`, Raw: "+3.412", Due: "2027-03-01"},
			{Name: "mic-1", Port: "/dev/serial/by-id/usb-B7", Driver: "signed-decimal", Link: "up", Sends: "press", Value: "29.981", ReadIn: "mm", MM: "29.981", Motion: "idle", Seq: 900, Elapsed: "42", Step: "0.001", Rate: "0", Good: 14, Raw: "29.981 mm"},
			{Name: "force-1", Port: "tcp://127.0.0.1:4001", Driver: "signed-decimal", Link: "lost", Message: "unplugged: plug it in again, it is picked up by itself", Sends: "stream", Step: "0.1", Due: "2026-01-31", Overdue: true},
		},
		Checks: []ledger.LiveCheck{
			{Component: "left swivel pin", Check: "play in bushes", Method: "play", Unit: "mm", Low: "0.009", High: "0.050", Positions: []ledger.LivePosition{
				{Position: "straight ahead", Verdict: "fail", Takes: []ledger.LiveTake{first, redo}}, {Position: "left lock", Verdict: "pass", Takes: []ledger.LiveTake{second}}, {Position: "right lock"}}},
			{Component: "left swivel pin", Check: "pin diameter", Method: "size", Unit: "mm", Low: "29.967", High: "29.991", Positions: []ledger.LivePosition{{Position: "upper"}, {Position: "lower"}}},
			{Component: "front hub", Check: "end play", Method: "end-play", Unit: "mm", Low: "0.03", High: "0.09", Positions: []ledger.LivePosition{{Position: "hub face"}}},
		},
		LastTake: &second, Problems: []ledger.Problem{},
		Sound: ledger.LiveSound{Output: "pulse", Volume: 0.6, Speech: true, Cues: map[string]bool{"rest": true, "stroke": true, "pass": true, "gauge-lost": true}},
	}
}

// verdict ends the take in progress.
func (sc *scene) verdict(t ledger.LiveTake) {
	sc.set(func(l *ledger.Live) {
		a := *l.Active
		a.Phase, a.Strokes = ledger.PhaseWaiting, 0
		l.Active, l.LastTake = &a, &t
	})
	sc.d.emit(Update{Event: "take", Data: t})
}

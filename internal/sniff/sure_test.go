package sniff

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"thouwright/drivers"
	"thouwright/internal/port"
)

func find(t *testing.T, w *wired, o Options) *Result {
	t.Helper()
	w.r = rand.New(rand.NewPCG(3, 3))
	if w.sends.Baud == 0 {
		w.sends = port.DefaultSettings
	}
	o.Drivers = drivers.BuiltIn().All()
	r, err := Search(context.Background(), w, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// 'Not sure' has its own words, and says what to do.
func TestNotSure(t *testing.T) {
	tenth := 100 * time.Millisecond
	for name, c := range map[string]struct {
		w    wired
		want string
	}{
		"nothing is sent":                {wired{}, "nothing was heard for 8 s: switch the gauge on"},
		"whole numbers may hide a point": {wired{every: tenth, message: func(r *rand.Rand) string { return fmt.Sprintf("%+08d\r\n", r.IntN(99999)) }}, "whole numbers only"},
		"no driver knows the shape":      {wired{every: tenth, message: func(r *rand.Rand) string { return fmt.Sprintf("<%d|%d>\r\n", r.IntN(99999), r.IntN(9)) }}, "no driver reads them"},
		"noise": {wired{every: tenth, message: func(r *rand.Rand) string {
			return string([]byte{byte(r.IntN(256)), byte(r.IntN(256)), byte(r.IntN(256)), 13})
		}}, "no driver reads them"},
		"a letter that could be sign or channel": {wired{every: tenth, message: func(r *rand.Rand) string { return fmt.Sprintf("P %.3f\r\n", 1+r.Float64()) }}, "read it, and differently"},
	} {
		t.Run(name, func(t *testing.T) {
			r := find(t, &c.w, Options{})
			if r.Sure() || r.Line != "" || !strings.Contains(r.Why, c.want) || len(r.Tried) == 0 || r.Tried[0].Line != "9600 8N1" {
				t.Errorf("%+v", r)
			}
		})
	}
}

// Where nobody checks parity, or settings mean nothing, it says so.
func TestSameBytes(t *testing.T) {
	w := &wired{every: 100 * time.Millisecond, message: shapes["signed-decimal"], deaf: true}
	if r := find(t, w, Options{}); r.Driver != "signed-decimal" || r.Line != "9600 8N1" || len(r.Same) != 1 || r.Same[0] != "any" {
		t.Errorf("%+v", r)
	}
	w = &wired{every: 100 * time.Millisecond, message: shapes["signed-decimal"]}
	if r := find(t, w, Options{}); r.Line != "9600 8N1" || len(r.Same) != 1 || r.Same[0] != "9600 8N2" {
		t.Errorf("%+v", r)
	}
}

// Nothing is said into the line unless told to; asking finds gauges that speak
// only when spoken to, at their own settings.
func TestAsking(t *testing.T) {
	quiet := &wired{message: shapes["signed-decimal"], answers: "?\r"}
	if r := find(t, quiet, Options{}); r.Sure() || quiet.spoken != 0 {
		t.Errorf("%+v, spoke %d times", r, quiet.spoken)
	}
	streaming := &wired{every: 100 * time.Millisecond, message: shapes["signed-decimal"]}
	if r := find(t, streaming, Options{Ask: true}); !r.Sure() || streaming.spoken != 0 {
		t.Errorf("%+v, spoke %d times", r, streaming.spoken)
	}
	for _, line := range []string{"9600 8N1", "2400 8N1", "4800 7E1"} {
		s, _ := port.ParseSettings(line)
		w := &wired{sends: s, message: shapes["signed-decimal"], answers: "?\r"}
		if r := find(t, w, Options{Ask: true}); r.Driver != "asked-decimal" || r.Line != line {
			t.Errorf("%s: %+v", line, r)
		}
	}
	w := &wired{message: shapes["signed-decimal"], answers: "01?\r"}
	if r := find(t, w, Options{Ask: true}); r.Driver != "asked-channels" {
		t.Errorf("%+v", r)
	}
}

// choosy is a port that takes only some speeds.
type choosy struct {
	*wired
	takes func(baud int) bool
}

func (c choosy) Listen(ctx context.Context, s port.Settings, say []byte, most time.Duration, hear func([]byte, time.Duration) bool) error {
	if !c.takes(s.Baud) {
		return &port.BadAddress{Text: "rfc2217://x", Why: "the server does not take it"}
	}
	return c.wired.Listen(ctx, s, say, most, hear)
}

// A port that refuses the first speed is listened to at the others; one that
// refuses all says so.
func TestRefusedSpeeds(t *testing.T) {
	s, _ := port.ParseSettings("4800 8N1")
	w := &wired{sends: s, every: 100 * time.Millisecond, message: shapes["signed-decimal"], r: rand.New(rand.NewPCG(3, 3))}
	o := Options{Drivers: drivers.BuiltIn().All()}
	r, err := Search(context.Background(), choosy{w, func(baud int) bool { return baud != 9600 }}, o)
	if err != nil || r.Line != "4800 8N1" || r.Tried[0] != (Try{Line: "9600 8N1"}) {
		t.Errorf("%+v, %v", r, err)
	}
	r, err = Search(context.Background(), choosy{w, func(int) bool { return false }}, o)
	if err != nil || r.Sure() || !strings.Contains(r.Why, "takes none of") || len(r.Tried) != len(speeds) {
		t.Errorf("%+v, %v", r, err)
	}
}

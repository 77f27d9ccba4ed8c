package page

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"thouwright/internal/ledger"
)

// stream reads an event stream line by line, as a script would.
type stream struct {
	t     testing.TB
	res   *http.Response
	lines *bufio.Reader
	beats int
}

func watch(t testing.TB, s *Server, headers ...string) *stream {
	t.Helper()
	r, _ := http.NewRequest("GET", s.URL()+"events", nil)
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		r.Header.Set(name, value)
	}
	res, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { res.Body.Close() })
	if res.StatusCode != 200 || res.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("events: %s, %s", res.Status, res.Header.Get("Content-Type"))
	}
	return &stream{t: t, res: res, lines: bufio.NewReader(res.Body)}
}

// next is the next event's name and data; ok is false at the stream's end.
func (s *stream) next() (event, data string, ok bool) {
	for {
		line, err := s.lines.ReadString('\n')
		if err != nil {
			return "", "", false
		}
		line = strings.TrimSuffix(line, "\n")
		switch {
		case line == "" && event != "":
			return event, data, true
		case strings.HasPrefix(line, "event: "):
			event = line[7:]
		case strings.HasPrefix(line, "data: "):
			data += line[6:]
		case line == ": beat":
			s.beats++
		}
	}
}

func reading1(gauge, value string) Update {
	return Update{Event: "reading", Gauge: gauge, Data: map[string]string{"gauge": gauge, "value": value, "unit": "mm"}}
}

func TestStreamBeginsWithStateAndGoesOn(t *testing.T) {
	d := newFakeDesk()
	d.live.LoggedSeq = 41
	s := serve(t, d, Options{})
	st := watch(t, s)
	e, data, _ := st.next()
	var live ledger.Live
	if err := json.Unmarshal([]byte(data), &live); e != "state" || err != nil || live.LoggedSeq != 41 {
		t.Fatalf("first event is %s %s (%v), want the state with logged_seq 41", e, data, err)
	}
	d.emit(reading1("dial-1", "0.25"))
	d.emit(Update{Event: "take", Data: ledger.LiveTake{"take": "1", "verdict": "pass"}})
	for _, want := range []string{`reading {"gauge":"dial-1","unit":"mm","value":"0.25"}`, `take {"take":"1","verdict":"pass"}`} {
		if e, data, _ := st.next(); e+" "+data != want {
			t.Errorf("got %s %s, want %s", e, data, want)
		}
	}
	if n := d.watched(); n != 1 {
		t.Errorf("%d subscriptions for one hub", n)
	}
	// A second screen gets the state and the reading it missed.
	st2 := watch(t, s)
	for _, want := range []string{"state", "reading"} {
		if e, data, _ := st2.next(); e != want {
			t.Errorf("second screen got %s %s, want %s", e, data, want)
		}
	}
}

// At 1000 readings/s a screen sees at most 20 of each gauge in a second, the
// last one always, and a slow gauge is not held back by a fast one.
func TestStreamPace(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{})
	st := watch(t, s)
	st.next()
	go func() {
		for i := 1; i <= 500; i++ {
			d.emit(reading1("fast", fmt.Sprint(i)))
			if i == 250 {
				d.emit(reading1("slow", "7"))
			}
			time.Sleep(time.Millisecond)
		}
		time.Sleep(2 * readingGap)
		d.emit(Update{Event: "rest", Data: map[string]string{}})
	}()
	begun, n, slow, last := time.Now(), 0, 0, ""
	for {
		e, data, ok := st.next()
		if !ok || e == "rest" {
			break
		}
		if strings.Contains(data, "slow") {
			slow++
			continue
		}
		n++
		last = data
	}
	most := int(time.Since(begun)/readingGap) + 2
	if n > most || n < 3 {
		t.Errorf("%d readings in %v, want at most %d", n, time.Since(begun), most)
	}
	if !strings.Contains(last, `"500"`) {
		t.Errorf("the last reading shown is %s, want 500", last)
	}
	if slow != 1 {
		t.Errorf("the slow gauge came %d times", slow)
	}
}

func TestStreamBeats(t *testing.T) {
	d := newFakeDesk()
	st := watch(t, serve(t, d, Options{}))
	st.next()
	time.AfterFunc(beatGap*5/2, func() { d.emit(Update{Event: "rest", Data: map[string]string{}}) })
	st.next()
	if st.beats < 2 {
		t.Errorf("%d beats in 2.5 s", st.beats)
	}
}

// A browser that stops reading is dropped; the others and the desk go on, and
// it finds everything when it comes back.
func TestSlowScreenIsDropped(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{})
	slow := watch(t, s) // never read from
	good := watch(t, s)
	good.next()
	big := strings.Repeat("x", 64<<10)
	begun := time.Now()
	for i := 0; i < clientQueue+400; i++ {
		d.emit(Update{Event: "rest", Data: map[string]string{"n": fmt.Sprint(i), "big": big}})
		if e, data, ok := good.next(); !ok || !strings.Contains(data, fmt.Sprintf(`"n":"%d"`, i)) {
			t.Fatalf("the good screen got %v %s at %d", ok, e, i)
		}
	}
	s.hub.mu.Lock()
	n := len(s.hub.clients)
	s.hub.mu.Unlock()
	if n != 1 {
		t.Errorf("%d streams after %v, want the good one alone", n, time.Since(begun))
	}
	slow.res.Body.Close()
	d.mu.Lock()
	d.live.LoggedSeq = 99
	d.mu.Unlock()
	d.emit(Update{Event: "state", Data: d.live})
	good.next()
	if e, data, _ := watch(t, s).next(); e != "state" || !strings.Contains(data, `"logged_seq":99`) {
		t.Errorf("back again it got %s %s", e, data)
	}
}

// The desk may drop the page; the page subscribes again and says the state.
func TestPageComesBackToTheDesk(t *testing.T) {
	d := newFakeDesk()
	st := watch(t, serve(t, d, Options{}))
	st.next()
	d.mu.Lock()
	d.live.LoggedSeq = 7
	for ch := range d.subs {
		d.drop(ch)
	}
	d.mu.Unlock()
	if e, data, _ := st.next(); e != "state" || !strings.Contains(data, `"logged_seq":7`) {
		t.Errorf("got %s %s", e, data)
	}
}

// Nobody watches: nothing is subscribed, and the state can still be asked for.
func TestNobodyWatches(t *testing.T) {
	d := newFakeDesk()
	d.live.LoggedSeq = 3
	s := serve(t, d, Options{})
	if code, body, _ := ask(t, "GET", s.URL()+"api/state", ""); code != 200 || !strings.Contains(body, `"logged_seq":3`) {
		t.Errorf("state: %d %s", code, body)
	}
	st := watch(t, s)
	st.next()
	st.res.Body.Close()
	for i := 0; d.watched() != 0; i++ {
		if i > 500 {
			t.Fatal("the subscription outlives the last screen")
		}
		time.Sleep(10 * time.Millisecond)
	}
}

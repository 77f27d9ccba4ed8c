//go:build linux

package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

// What strangers send, by turns: each holds its connection for as long as it is
// let.
var ploys = []struct {
	name, first, drip string
	read              bool
}{
	{name: "says nothing"},
	{name: "a header that never ends", first: "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ", drip: "x"},
	{name: "a body that never ends", first: "POST /api/note HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer guess\r\nContent-Type: application/json\r\nContent-Length: 60000\r\n\r\n{\"text\":\"", drip: "x"},
	{name: "an event stream left open", first: "GET /events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"},
	{name: "a page that is never read", first: strings.Repeat("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 40)},
	{name: "a wrong token", first: "POST /api/accept HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer guess\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", read: true},
	{name: "noise", first: strings.Repeat("\x16\x03\x01\x00\xff", 4000), read: true},
	{name: "a header too large", first: "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + strings.Repeat("x", 60_000), read: true},
}

// flood is how the strangers fared.
type flood struct {
	opened, held atomic.Int64
	wait         sync.WaitGroup
	stop         chan struct{}
}

// startFlood opens n connections to the page and holds every one that is let
// live; one that is cut is opened again until stop.
func startFlood(url string, n int) *flood {
	f := &flood{stop: make(chan struct{})}
	addr := strings.TrimSuffix(strings.TrimPrefix(url, "http://"), "/")
	for i := range n {
		f.wait.Go(func() {
			p := ploys[i%len(ploys)]
			for {
				f.once(addr, p.first, p.drip, p.read)
				select {
				case <-f.stop:
					return
				case <-time.After(time.Second):
				}
			}
		})
	}
	return f
}

func (f *flood) once(addr, first, drip string, read bool) {
	c, err := net.DialTimeout("tcp", addr, 5*time.Second)
	if err != nil {
		return
	}
	defer c.Close()
	f.opened.Add(1)
	f.held.Add(1)
	defer f.held.Add(-1)
	c.SetWriteDeadline(time.Now().Add(5 * time.Second))
	if _, err := io.WriteString(c, first); err != nil {
		return
	}
	if read {
		c.SetReadDeadline(time.Now().Add(20 * time.Second))
		io.Copy(io.Discard, c)
		return
	}
	for {
		select {
		case <-f.stop:
			return
		case <-time.After(time.Second):
		}
		if drip != "" {
			c.SetWriteDeadline(time.Now().Add(time.Second))
			if _, err := io.WriteString(c, drip); err != nil {
				return
			}
			continue
		}
		// Looks whether it was cut without taking what was sent to it.
		if cut(c) {
			return
		}
	}
}

// cut tells whether the other side has closed the connection.
func cut(c net.Conn) bool {
	raw, err := c.(*net.TCPConn).SyscallConn()
	if err != nil {
		return true
	}
	gone := false
	err = raw.Control(func(fd uintptr) {
		info, e := unix.GetsockoptTCPInfo(int(fd), unix.IPPROTO_TCP, unix.TCP_INFO)
		gone = e != nil || info.State != established
	})
	return err != nil || gone
}

// established is TCP_ESTABLISHED of linux/tcp_states.h.
const established = 1

// end lets all go and says how long the page then takes to answer and to begin
// its event stream.
func (f *flood) end(url string) (page time.Duration, err error) {
	close(f.stop)
	f.wait.Wait()
	began := time.Now()
	for time.Since(began) < 30*time.Second {
		if err = answers(url); err == nil {
			return time.Since(began), nil
		}
		time.Sleep(20 * time.Millisecond)
	}
	return 0, fmt.Errorf("30 s after the flood the page does not answer: %w", err)
}

func answers(url string) error {
	c := http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	for _, path := range []string{"", "api/state", "healthz"} {
		res, err := c.Get(url + path)
		if err != nil {
			return err
		}
		io.Copy(io.Discard, res.Body)
		res.Body.Close()
		if res.StatusCode != http.StatusOK {
			return fmt.Errorf("/%s: %s", path, res.Status)
		}
	}
	res, err := c.Get(url + "events")
	if err != nil {
		return err
	}
	defer res.Body.Close()
	for sc := bufio.NewScanner(res.Body); sc.Scan(); {
		if sc.Text() == "event: state" {
			return nil
		}
	}
	return errors.New("/events begins without a state")
}

// attacked runs the daemon under a flood for the first half of the time; the
// gauges must lose nothing, the page must answer after it.
func attacked(dir, bin string, o options) (result, error) {
	r := result{name: fmt.Sprintf("thouwright under %d strangers", o.flood)}
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
	at0, files0 := usage(d.pid()).cpu, usage(d.pid()).files
	g.begin()
	f := startFlood(d.url, o.flood)
	most := usageOf{}
	held := int64(0)
	for range o.seconds / 2 {
		time.Sleep(time.Second)
		u := usage(d.pid())
		most.rss, most.threads, most.files = max(most.rss, u.rss), max(most.threads, u.threads), max(most.files, u.files)
		held = max(held, f.held.Load())
	}
	answered, err := f.end(d.url)
	if err != nil {
		return r, err
	}
	time.Sleep(time.Duration(o.seconds-o.seconds/2) * time.Second)
	r.sent = g.end()
	after := usage(d.pid())
	r.cpu, r.rss = after.cpu-at0, most.rss
	if r.kept, err = d.end(dir); err != nil {
		return r, err
	}
	r.note = fmt.Sprintf("%d connections made, %d held at most, the page answers %d ms after them, threads at most %d, files at most %d, before and after %d and %d",
		f.opened.Load(), held, answered.Milliseconds(), most.threads, most.files, files0, after.files)
	if r.rss > floodMemory || after.files > files0+5 {
		return r, fmt.Errorf("the flood left its mark: %s, %d MB", r.note, r.rss)
	}
	return r, nil
}

// floodMemory bounds what the daemon holds under a flood, in MB.
const floodMemory = 200

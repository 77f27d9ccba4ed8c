//go:build linux

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

const floorName = "floor: read and throw away"

// bareRead is the floor: a goroutine a terminal that reads and throws away.
func bareRead(dir, _ string, o options) (result, error) {
	r := result{name: floorName}
	g, err := startGauges(o)
	if err != nil {
		return r, err
	}
	defer g.stop()
	var got atomic.Int64
	for _, p := range g.ports {
		f, err := os.Open(p)
		if err != nil {
			return r, err
		}
		defer f.Close()
		go func() {
			buf := make([]byte, 4096)
			for {
				n, err := f.Read(buf)
				if err != nil {
					return
				}
				got.Add(int64(bytes.Count(buf[:n], []byte{'\n'})))
			}
		}()
	}
	at0 := usage(os.Getpid())
	g.begin()
	time.Sleep(time.Duration(o.seconds) * time.Second)
	u := usage(os.Getpid())
	r.sent = g.end()
	time.Sleep(500 * time.Millisecond)
	r.kept, r.cpu, r.rss = int(got.Load()), u.cpu-at0.cpu, u.rss
	r.note = "nothing is kept"
	return r, nil
}

// terminalProgram is a general terminal program logging each port to a file.
func terminalProgram(dir, _ string, o options) (result, error) {
	r := result{name: "socat, one a gauge, to a file"}
	g, err := startGauges(o)
	if err != nil {
		return r, err
	}
	defer g.stop()
	var cmds []*exec.Cmd
	for i, p := range g.ports {
		c := exec.Command("socat", "-u", p+",raw,echo=0", "OPEN:"+filepath.Join(dir, fmt.Sprintf("g%d.log", i))+",creat,append")
		if err := c.Start(); err != nil {
			return r, fmt.Errorf("socat: %w (apt-get install socat)", err)
		}
		cmds = append(cmds, c)
	}
	time.Sleep(2 * time.Second)
	var pids []int
	for _, c := range cmds {
		pids = append(pids, c.Process.Pid)
	}
	err = r.measure(g, o, pids)
	for _, c := range cmds {
		c.Process.Kill()
		c.Wait()
	}
	for i := range g.ports {
		n, e := lines(filepath.Join(dir, fmt.Sprintf("g%d.log", i)))
		if e != nil {
			err = e
		}
		r.kept += n
	}
	r.note = "no time, unit or check of a line; never synced"
	return r, err
}

const pythonScript = `
import csv, os, selectors, sys, time, tty
sel = selectors.DefaultSelector()
rest = {}
for path in sys.argv[2:]:
    fd = os.open(path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(fd)
    sel.register(fd, selectors.EVENT_READ, path)
    rest[fd] = b""
out = open(sys.argv[1], "w", newline="")
w = csv.writer(out)
while True:
    for key, _ in sel.select():
        data = rest[key.fd] + os.read(key.fd, 4096)
        *whole, rest[key.fd] = data.split(b"\n")
        for line in whole:
            w.writerow([time.time(), key.data, float(line)])
    out.flush()
`

// script is the kind of script people write: read a line, take it for a number,
// append it to a CSV file.
func script(dir, _ string, o options) (result, error) {
	r := result{name: "a Python script: line, float, CSV"}
	g, err := startGauges(o)
	if err != nil {
		return r, err
	}
	defer g.stop()
	file := filepath.Join(dir, "all.csv")
	c := exec.Command("/usr/bin/python3", append([]string{"-c", pythonScript, file}, g.ports...)...)
	c.Stderr = os.Stderr
	if err := c.Start(); err != nil {
		return r, err
	}
	time.Sleep(2 * time.Second)
	err = r.measure(g, o, []int{c.Process.Pid})
	c.Process.Kill()
	c.Wait()
	if err == nil {
		r.kept, err = lines(file)
	}
	r.note = "no unit or fault, ends at the first line that is no number; never synced"
	return r, err
}

// measure lets the gauges send and adds up what the processes used meanwhile.
func (r *result) measure(g *gauges, o options, pids []int) error {
	sum := func() (t usageOf) {
		for _, p := range pids {
			u := usage(p)
			t.cpu += u.cpu
			t.kb += u.kb
		}
		return t
	}
	at0 := sum()
	g.begin()
	time.Sleep(time.Duration(o.seconds) * time.Second)
	u := sum()
	r.sent = g.end()
	time.Sleep(500 * time.Millisecond)
	r.cpu, r.rss = u.cpu-at0.cpu, u.kb/1024
	return nil
}

// usageOf is what a process uses, from /proc.
type usageOf struct {
	cpu                     time.Duration
	rss, threads, files, kb int
}

func usage(pid int) (u usageOf) {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return u
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+2:]))
	user, _ := strconv.Atoi(f[11])
	system, _ := strconv.Atoi(f[12])
	u.cpu = time.Duration(user+system) * 10 * time.Millisecond // USER_HZ is 100
	status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	for _, l := range strings.Split(string(status), "\n") {
		fmt.Sscanf(l, "VmRSS: %d kB", &u.kb)
		fmt.Sscanf(l, "Threads: %d", &u.threads)
	}
	u.rss = u.kb / 1024
	fds, _ := os.ReadDir(fmt.Sprintf("/proc/%d/fd", pid))
	u.files = len(fds)
	return u
}

func lines(file string) (int, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return 0, err
	}
	return bytes.Count(b, []byte{'\n'}), nil
}

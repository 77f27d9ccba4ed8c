//go:build linux

package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// beGauges is the process that simulates the gauges: it prints their ports,
// sends from the line 'begin' on, and prints how much it sent at 'end'.
func beGauges(o options) {
	masters := make([]*os.File, o.gauges)
	for i := range masters {
		m, s, err := pty.Open()
		if err != nil {
			fmt.Fprintln(os.Stderr, "soak: a terminal:", err)
			os.Exit(1)
		}
		plain(s)
		fmt.Println(s.Name())
		s.Close()
		masters[i] = m
	}
	fmt.Println("ready")
	in := bufio.NewScanner(os.Stdin)
	in.Scan()
	var stop atomic.Bool
	go func() { in.Scan(); stop.Store(true) }()
	sent := 0
	var line []byte
	began := time.Now()
	for n := 1; !stop.Load(); n++ {
		for i, m := range masters {
			line = strconv.AppendFloat(line[:0], 5+math.Sin(float64(n)*0.07+float64(i)), 'f', 3, 64)
			line = append(line, '\r', '\n')
			if _, err := m.Write(line); err == nil {
				sent++
			}
		}
		time.Sleep(time.Until(began.Add(time.Duration(float64(n) / o.rate * float64(time.Second)))))
	}
	fmt.Println(sent)
	in.Scan()
}

// plain makes a terminal a plain line for readers that do not do it themselves.
func plain(f *os.File) {
	t, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return
	}
	t.Iflag &^= unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG | unix.IEXTEN
	unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, t)
}

// gauges is the simulating process as its parent sees it.
type gauges struct {
	ports []string
	cmd   *exec.Cmd
	in    io.WriteCloser
	out   *bufio.Scanner
}

func startGauges(o options) (*gauges, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	g := &gauges{cmd: exec.Command(self, "-simulate", "-gauges", strconv.Itoa(o.gauges), "-rate", fmt.Sprint(o.rate))}
	g.cmd.Stderr = os.Stderr
	if g.in, err = g.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := g.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := g.cmd.Start(); err != nil {
		return nil, err
	}
	g.out = bufio.NewScanner(out)
	for g.out.Scan() && g.out.Text() != "ready" {
		g.ports = append(g.ports, g.out.Text())
	}
	if len(g.ports) != o.gauges {
		return nil, fmt.Errorf("%d of %d gauges could be simulated", len(g.ports), o.gauges)
	}
	return g, nil
}

func (g *gauges) begin() { fmt.Fprintln(g.in, "begin") }

// end stops the sending and says how many readings were sent.
func (g *gauges) end() int {
	fmt.Fprintln(g.in, "end")
	g.out.Scan()
	n, _ := strconv.Atoi(strings.TrimSpace(g.out.Text()))
	return n
}

func (g *gauges) stop() {
	g.in.Close()
	g.cmd.Wait()
}

// queued is how many bytes wait to be read from a terminal.
func queued(f *os.File) (int, error) { return unix.IoctlGetInt(int(f.Fd()), unix.TIOCINQ) }

//go:build unix

// Package listen is the ear of the tests and benchmarks: a PulseAudio server of
// their own that plays into nothing, a recording of what it played, and the
// tones found in it.
package listen

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"thouwright/internal/sound/pulse"
)

// Server is a PulseAudio server with one sink that plays into nothing.
type Server struct {
	Socket string
	dir    string
	cmd    *exec.Cmd
	log    *bytes.Buffer
	done   chan struct{}
}

// Start starts a server that keeps its files in dir, and waits until it
// answers. Stop ends it; Start again in the same dir is a restart.
func Start(dir string) (*Server, error) { return StartSink(dir, "room") }

// StartSink is Start with a name for the sink.
func StartSink(dir, sink string) (*Server, error) {
	prog, err := exec.LookPath("pulseaudio")
	if err != nil {
		return nil, errors.New("pulseaudio is not installed: apt-get install pulseaudio")
	}
	s := &Server{Socket: filepath.Join(dir, "native"), dir: dir, log: &bytes.Buffer{}, done: make(chan struct{})}
	s.cmd = exec.Command(prog, "-n", "--system=false", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
		"--disallow-exit=no", "--realtime=no", "--high-priority=no",
		"--load=module-null-sink sink_name="+sink+" rate=44100 channels=1",
		"--load=module-native-protocol-unix auth-anonymous=1 socket="+s.Socket)
	s.cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_RUNTIME_DIR="+dir, "XDG_CONFIG_HOME="+dir, "PULSE_RUNTIME_PATH="+dir, "PULSE_STATE_PATH="+dir)
	s.cmd.Stdout, s.cmd.Stderr = s.log, s.log
	if err := s.cmd.Start(); err != nil {
		return nil, err
	}
	go func() { s.cmd.Wait(); close(s.done) }()
	for range 200 {
		if c, err := net.Dial("unix", s.Socket); err == nil {
			c.Close()
			return s, nil
		}
		select {
		case <-s.done:
			return nil, fmt.Errorf("pulseaudio ended: %s", s.log)
		case <-time.After(25 * time.Millisecond):
		}
	}
	s.Stop()
	return nil, fmt.Errorf("pulseaudio does not answer: %s", s.log)
}

// Stop ends the server at once, as a crash would.
func (s *Server) Stop() {
	s.cmd.Process.Kill()
	<-s.done
	os.Remove(s.Socket)
}

// Freeze stops the server in its tracks; Thaw lets it go on.
func (s *Server) Freeze() { s.cmd.Process.Signal(syscall.SIGSTOP) }

// Thaw undoes Freeze.
func (s *Server) Thaw() { s.cmd.Process.Signal(syscall.SIGCONT) }

// Rate is the samples a second of a recording.
const Rate = 44100

// Recording holds what the sink played since it began.
type Recording struct {
	conn *pulse.Conn

	mu  sync.Mutex
	pcm []int16
	at  time.Time // when the last sample arrived
}

// Record begins a recording of what the server's sink plays, and returns once
// it runs: the sink of a new server stands still for its first two seconds.
func (s *Server) Record() (*Recording, error) {
	c, err := pulse.DialAddress(context.Background(), "unix", s.Socket)
	if err != nil {
		return nil, err
	}
	r := &Recording{conn: c}
	err = c.Record("room.monitor", Rate, func(pcm []int16) {
		r.mu.Lock()
		r.pcm = append(r.pcm, pcm...)
		r.at = time.Now()
		r.mu.Unlock()
	})
	for wait := 0; err == nil && r.Len() == 0; wait++ {
		if time.Sleep(10 * time.Millisecond); wait > 1000 {
			err = fmt.Errorf("the sound server plays nothing: %s", s.log)
		}
	}
	if err != nil {
		c.Close()
		return nil, err
	}
	return r, nil
}

// Close ends the recording.
func (r *Recording) Close() { r.conn.Close() }

// Len is the number of samples so far.
func (r *Recording) Len() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.pcm)
}

// From is a copy of the samples from index on, and the time at which the last
// of them arrived: no sample was played later than this time less its distance
// from the end.
func (r *Recording) From(index int) ([]int16, time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]int16(nil), r.pcm[min(index, len(r.pcm)):]...), r.at
}

// Onset waits for the first sound after index and returns when it was played,
// at the latest.
func (r *Recording) Onset(index int, patience time.Duration) (time.Time, bool) {
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
		r.mu.Lock()
		for i := index; i < len(r.pcm); i++ {
			if v := r.pcm[i]; v > onset || v < -onset {
				t := r.at.Add(-time.Duration(len(r.pcm)-1-i) * time.Second / Rate)
				r.mu.Unlock()
				return t, true
			}
		}
		index = len(r.pcm)
		r.mu.Unlock()
	}
	return time.Time{}, false
}

// onset is the sample value that counts as sound; a sink that plays into
// nothing has no noise.
const onset = 30

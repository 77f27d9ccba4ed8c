package pulse

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// Server strings as PulseAudio's own documentation writes them.
func TestServersNamedByTheEnvironment(t *testing.T) {
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("XDG_RUNTIME_DIR", "/run/user/7")
	t.Setenv("PULSE_RUNTIME_PATH", "")
	for _, c := range []struct {
		named string
		want  [][2]string
	}{
		{"", [][2]string{{"unix", "/run/user/7/pulse/native"}, {"unix", "/run/pulse/native"}}},
		{"/tmp/s", [][2]string{{"unix", "/tmp/s"}}},
		{"unix:/tmp/s tcp:bench.example", [][2]string{{"unix", "/tmp/s"}, {"tcp", "bench.example:4713"}}},
		{"tcp:10.0.0.2:4000", [][2]string{{"tcp", "10.0.0.2:4000"}}},
		{"tcp6:[::1]", [][2]string{{"tcp6", "[::1]:4713"}}},
		{"{" + host + "}unix:/a {elsewhere}unix:/b", [][2]string{{"unix", "/a"}}},
		{"{broken", nil},
		{"udp:x ftp:y :", nil},
	} {
		t.Setenv("PULSE_SERVER", c.named)
		if d := cmp.Diff(c.want, addresses()); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.named, d)
		}
	}
}

// A server that hangs up at the greeting, one that says nothing, and one that
// talks nonsense: an error each, and no goroutine left.
func TestServersThatMisbehave(t *testing.T) {
	for name, serve := range map[string]func(net.Conn){
		"hangs up": func(c net.Conn) { c.Close() },
		"is mute":  func(c net.Conn) { time.Sleep(2 * time.Second); c.Close() },
		"nonsense": func(c net.Conn) {
			c.Write([]byte("HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\n\r\n400 Bad Request, and some more text behind it"))
			c.Close()
		},
	} {
		t.Run(name, func(t *testing.T) {
			socket := filepath.Join(t.TempDir(), "s")
			l, err := net.Listen("unix", socket)
			if err != nil {
				t.Fatal(err)
			}
			done := make(chan struct{})
			go func() {
				defer close(done)
				if c, err := l.Accept(); err == nil {
					serve(c)
				}
			}()
			c, err := DialAddress(context.Background(), "unix", socket)
			if err == nil {
				c.Close()
				t.Error("it was taken for a sound server")
			}
			l.Close()
			<-done
		})
	}
}

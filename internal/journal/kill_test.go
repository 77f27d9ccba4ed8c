package journal

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thouwright/internal/ledger"
)

// victimEnv makes this test binary the process that is killed.
const victimEnv = "THOUWRIGHT_TEST_VICTIM"

func TestMain(m *testing.M) {
	if dir := os.Getenv(victimEnv); dir != "" {
		victim(dir)
		return
	}
	os.Exit(m.Run())
}

// victim measures as fast as it can until it is killed. Every receipt is a
// line on standard output: what a process was told before it died.
func victim(dir string) {
	j, rec, err := Open(Options{Dir: dir, Number: "K-1", Part: 2_000_000, Receipt: func(r Receipt) {
		switch {
		case r.Take != nil:
			fmt.Printf("take %d %d %d\n", r.Take.Take, r.Take.FirstSeq, r.Take.LastSeq)
		case r.Trouble != nil:
			fmt.Printf("trouble %s\n", r.Trouble.Text)
		default:
			fmt.Printf("logged %d\n", r.LoggedSeq)
		}
	}})
	if err != nil {
		fmt.Println("trouble", err)
		os.Exit(1)
	}
	for _, text := range rec.Repaired {
		fmt.Println("repaired", text)
	}
	seq, n := rec.LastSeq, rec.LastTake
	fmt.Println("open", seq, n)
	if n > 0 && rec.Place != *pinTag {
		fmt.Printf("trouble the job does not go on where it was: %+v\n", rec.Place)
	}
	j.Event(ledger.Event{Seq: seq, At: stamp(seq), Kind: ledger.EvStart})
	j.Sheet(stamp(seq), sheets)
	j.Event(ledger.Event{Seq: seq, At: stamp(seq), Kind: ledger.EvStage, Text: pinTag.Stage})
	j.Event(ledger.Event{Seq: seq, At: stamp(seq), Kind: ledger.EvPosition, Text: ledger.PlaceText(*pinTag)})
	for {
		from := seq
		for range 10 {
			j.Readings(batch(seq, 50))
			seq += 50
			time.Sleep(200 * time.Microsecond)
		}
		n++
		j.Take(take(n, from+1, seq))
	}
}

// killer holds what the victims were told.
type killer struct {
	t              *testing.T
	dir            string
	takes          map[uint64][2]uint64
	logged         [][2]uint64
	repairs, kills int
	said           int // takes, over all jobs
}

// one starts a victim, kills it after a while and collects what it was told.
func (k *killer) one(after time.Duration) {
	self, err := os.Executable()
	if err != nil {
		k.t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), victimEnv+"="+k.dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		k.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		k.t.Fatal(err)
	}
	kill := func() { _ = cmd.Process.Kill() }
	if k.kills%8 == 0 { // some die while they open the folder
		time.AfterFunc(after/2, kill)
	}
	first, logged := uint64(0), uint64(0)
	r := bufio.NewReader(out)
	for {
		line, err := r.ReadString('\n')
		if err == io.EOF {
			break // what is behind the last line end was never said
		}
		word, rest, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		switch word {
		case "open":
			time.AfterFunc(after, kill)
			var n uint64
			fmt.Sscan(rest, &first, &n)
			if last := k.lastTake(); n < last {
				k.t.Errorf("kill %d: the last take is %d, %d was acknowledged", k.kills, n, last)
			}
			if len(k.logged) > 0 && first < k.logged[len(k.logged)-1][1] {
				k.t.Errorf("kill %d: the last reading is %d, %d was said to be logged", k.kills, first, k.logged[len(k.logged)-1][1])
			}
			logged = first
		case "take":
			var n, a, b uint64
			fmt.Sscan(rest, &n, &a, &b)
			k.takes[n] = [2]uint64{a, b}
			logged = max(logged, b)
		case "logged":
			logged, _ = strconv.ParseUint(rest, 10, 64)
		case "repaired":
			k.repairs++
		default:
			k.t.Errorf("kill %d: %s", k.kills, line)
		}
	}
	_ = cmd.Wait()
	k.kills++
	if logged > first {
		k.logged = append(k.logged, [2]uint64{first + 1, logged})
	}
}

func (k *killer) lastTake() (n uint64) {
	for t := range k.takes {
		n = max(n, t)
	}
	return n
}

// check looks for everything that was acknowledged, exactly once.
func (k *killer) check() {
	k.t.Helper()
	f, err := Load(filepath.Join(k.dir, "K-1"))
	if err != nil {
		k.t.Fatal(err)
	}
	seen := map[uint64]int{}
	for _, got := range f.Takes {
		seen[got.Take]++
		if said, ok := k.takes[got.Take]; ok {
			want := take(got.Take, said[0], said[1])
			want.At.Elapsed = 0
			if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
				k.t.Errorf("take %d: %s", got.Take, d)
			}
		}
	}
	for n := range k.takes {
		if seen[n] != 1 {
			k.t.Errorf("take %d was acknowledged and is there %d times", n, seen[n])
		}
	}
	last, g := uint64(0), 0
	for r, err := range f.Readings() {
		if err != nil {
			k.t.Error(err) // a torn tail is cut at the next start; in the middle there is none
			continue
		}
		if r.Seq <= last {
			k.t.Fatalf("reading %d follows %d", r.Seq, last)
		}
		for g < len(k.logged) && k.logged[g][1] < r.Seq {
			if last < k.logged[g][1] {
				k.t.Fatalf("reading %d was said to be logged and is not there", last+1)
			}
			g++
		}
		if g < len(k.logged) && r.Seq > k.logged[g][0] && last+1 != r.Seq {
			k.t.Fatalf("reading %d was said to be logged and is not there", last+1)
		}
		last = r.Seq
	}
	if g < len(k.logged) && last < k.logged[len(k.logged)-1][1] {
		k.t.Fatalf("the last reading is %d, %d was said to be logged", last, k.logged[len(k.logged)-1][1])
	}
}

// A process under load is killed at random moments: every take and reading
// that it was told is logged is there exactly once, the chains hold, the torn
// tail is repaired and said, and the job goes on.
func TestKilledAtRandomMoments(t *testing.T) {
	kills := 60 // the real daemon is killed 100 times, in cmd/thouwright
	if *deep {
		kills = 5000
	}
	var total killer
	const perJob = 500 // a job that was killed more often starts slowly
	for left := kills; left > 0; left -= perJob {
		k := &killer{t: t, dir: t.TempDir(), takes: map[uint64][2]uint64{}}
		for range min(left, perJob) {
			k.one(time.Duration(rand.IntN(80)) * time.Millisecond)
			if t.Failed() {
				t.Fatalf("after %d kills", total.kills+k.kills)
			}
		}
		k.end()
		total.kills += k.kills
		total.repairs += k.repairs
		total.said += len(k.takes)
	}
	t.Logf("%d kills, %d takes acknowledged, %d torn tails repaired", total.kills, total.said, total.repairs)
	if total.said < kills/2 {
		t.Errorf("only %d takes were acknowledged over %d kills: the load is not real", total.said, kills)
	}
}

// end opens the folder once more, which repairs what the last kill left, and
// looks for everything that was promised.
func (k *killer) end() {
	k.t.Helper()
	j, rec, err := Open(Options{Dir: k.dir, Number: "K-1"})
	if err != nil {
		k.t.Fatal(err)
	}
	if err := j.Close(k.t.Context(), stamp(rec.LastSeq)); err != nil {
		k.t.Fatal(err)
	}
	k.check()
	mustHold(k.t, j.Dir())
}

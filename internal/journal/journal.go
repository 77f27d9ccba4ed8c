// Package journal is the only writer of a job's folder, and its reader. The
// capture loop hands it readings, events and takes and never waits for a disk;
// one goroutine formats, chains, writes and syncs them in order and gives a
// receipt for what is durable: readings are synced first, then rests, budget
// and extras, then the row of takes.csv, and only then the take is said to
// exist. The journal asks no clock what time it is: rows carry the stamps they
// came with, so what it writes depends on its input alone.
package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// The journal's habits.
const (
	flushEvery  = 50 * time.Millisecond // whole lines reach the file
	syncEvery   = time.Second           // and the disk
	stallAfter  = 5 * time.Second       // a disk that has not answered for so long is trouble
	retryFirst  = 250 * time.Millisecond
	retryMost   = 5 * time.Second
	bulkChunk   = 64 << 10  // bulk: bytes held before a write
	wakeBytes   = 1 << 20   // queued bytes that wake the writer early
	syncBytes   = 16 << 20  // unsynced bytes that bring the sync forward
	bulkQueue   = 8 << 20   // bulk: queued bytes that make the caller wait
	DefaultPart = 256 << 20 // a part of a log goes on in the next one here
	// DefaultLimit bounds what is held in memory while the disk cannot take
	// it: at 100 readings/s about an hour and a half. Writing it again takes as much once more.
	DefaultLimit = 64 << 20
	// readingCost is what one waiting reading is counted as, besides its raw
	// bytes: the struct and its row.
	readingCost = 200
)

// Options says where and how to keep a job.
type Options struct {
	Dir    string // the log folder; the job's own is Dir/Number
	Number string
	FS     FS             // nil: the real one
	Log    zerolog.Logger // transitions of trouble, in words
	// Receipt is called on the journal's goroutine and must return at once.
	// While that goroutine waits for a disk that does not answer, the Trouble
	// that says so comes from another; calls never overlap.
	Receipt func(Receipt)
	// Recycle, where set, is handed each batch of readings once it is
	// formatted, for reuse.
	Recycle func([]ledger.Reading)
	// Synced, where set, is told how long it took to make everything that waited
	// durable, each time it could. It is called on the journal's goroutine.
	Synced func(took time.Duration)
	Limit  int64 // bytes held in memory; 0: DefaultLimit
	Part   int64 // size of a part; 0: DefaultPart
	// Bulk is for replay: a full queue makes the caller wait, rows are synced
	// at Close, receipts of takes come then, and the first trouble is the end
	// (Err). The bytes are the same as without it.
	Bulk bool
	// Holder is what the lock says of this process; "" for 'process PID'.
	Holder string
}

// Receipt is what the journal says back.
type Receipt struct {
	LoggedSeq uint64       // readings up to this one are synced, but those said to be lost
	Take      *ledger.Take // its row is synced, and everything it rests on
	Refused   *ledger.Take // it was not kept and never will be; Trouble says why
	Trouble   *Trouble
}

// Trouble is the state of the disk, in words for people.
type Trouble struct {
	Text string // one line: what failed and what is happening
	Err  error
	Over bool   // everything held has been written
	Held int64  // bytes in memory
	Lost uint64 // readings lost since the journal was opened
}

// Journal writes one job's folder. Readings, Event, Take and Sheet are for one
// caller; they never wait for the disk (but see Options.Bulk).
type Journal struct {
	o   Options
	dir string

	mu         sync.Mutex
	room       sync.Cond // bulk: the queue has room again
	queue      []message
	spare      []message
	queued     int64 // bytes in queue, and in what the writer took of it
	taken      int64
	emptied    time.Time // when the writer last took the queue
	closed     bool
	losing     bool
	gaps       []gap // readings lost, for refusing takes that used them
	lost       uint64
	lostEvents uint64 // not said yet

	telling sync.Mutex

	held   atomic.Int64 // bytes formatted and not yet on disk
	logged atomic.Uint64
	wake   chan struct{}
	flush  *time.Timer // when what is queued is due
	done   chan struct{}
	err    error // final, once done is closed
	sheets sheetBook
}

// maxGaps is how many losses are remembered for refusing takes; a take reaches
// back over the last few at most.
const maxGaps = 1000

// gap is a range of readings that were lost.
type gap struct{ first, last uint64 }

// message is one thing for the writer; exactly one of its parts is set.
type message struct {
	readings []ledger.Reading
	event    *ledger.Event
	take     *ledger.Take
	refused  bool // the take is not to be kept
	files    []sheetFile
	lost     *gap
	tape     *Tape
	bytes    []byte // of the tape; nil begins it
	close    *closing
}

type closing struct {
	ctx context.Context
	at  ledger.Stamp
}

var errClosed = errors.New("journal is closed")

func newJournal(o Options) *Journal {
	j := &Journal{o: o, dir: filepath.Join(o.Dir, o.Number), wake: make(chan struct{}, 1), done: make(chan struct{}), flush: time.NewTimer(flushEvery)}
	j.room.L = &j.mu
	return j
}

// Dir is the job's folder.
func (j *Journal) Dir() string { return j.dir }

// LoggedSeq is the last reading that is synced.
func (j *Journal) LoggedSeq() uint64 { return j.logged.Load() }

// Err is why the journal ended, once it has; nil while it runs.
func (j *Journal) Err() error {
	select {
	case <-j.done:
		return j.err
	default:
		return nil
	}
}

// Readings takes a batch, which belongs to the journal from now on, raw bytes
// and all. Where there is no room left in memory the batch is lost, counted
// and said.
func (j *Journal) Readings(batch []ledger.Reading) {
	if len(batch) == 0 {
		return
	}
	cost := int64(len(batch)) * readingCost
	for i := range batch {
		cost += int64(len(batch[i].Raw))
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if !j.admit(cost) {
		j.lose(batch)
		return
	}
	j.put(message{readings: batch}, cost)
}

// Event appends an event. Events have a quarter more room in memory than
// readings; beyond it they are lost and counted, too.
func (j *Journal) Event(e ledger.Event) {
	j.mu.Lock()
	defer j.mu.Unlock()
	cost := int64(len(e.Text)) + readingCost
	if !j.o.Bulk && j.queued+j.held.Load()+cost > j.o.Limit+j.o.Limit/4 {
		j.lostEvents++
		return
	}
	j.put(message{event: &e}, cost)
}

// Take commits a take: its receipt comes once its row is synced. A take that
// rests on readings that were lost is refused.
func (j *Journal) Take(t ledger.Take) {
	j.mu.Lock()
	defer j.mu.Unlock()
	refused := j.losing
	for _, g := range j.gaps {
		refused = refused || t.FirstSeq <= g.last && t.LastSeq >= g.first
	}
	cost := int64(readingCost * (2 + len(t.Rests) + len(t.Budget) + len(t.Extras)))
	j.put(message{take: &t, refused: refused}, cost)
	if !j.o.Bulk { // nobody waits for a receipt there
		j.poke()
	}
}

// admit tells whether cost more bytes may be held. Bulk waits for room.
func (j *Journal) admit(cost int64) bool {
	if j.o.Bulk {
		for j.queued > bulkQueue && !j.closed && j.Err() == nil {
			j.poke()
			j.room.Wait()
		}
		return true
	}
	held := j.queued + j.held.Load() + cost
	// Once it has begun, the loss lasts until half is free: one long gap is
	// better than many short ones.
	j.losing = held > j.o.Limit || j.losing && held > j.o.Limit/2
	return !j.losing
}

func (j *Journal) lose(batch []ledger.Reading) {
	first, last := batch[0].Seq, batch[len(batch)-1].Seq
	j.lost += uint64(len(batch))
	if n := len(j.gaps); n > 0 && j.gaps[n-1].last+1 == first {
		j.gaps[n-1].last = last
		if m := len(j.queue); m > 0 && j.queue[m-1].lost != nil {
			j.queue[m-1].lost.last = last
			return
		}
	} else {
		if len(j.gaps) == maxGaps {
			j.gaps = j.gaps[1:]
		}
		j.gaps = append(j.gaps, gap{first, last})
	}
	j.put(message{lost: &gap{first, last}}, 0)
	j.poke()
}

// put queues a message. The first wakes the writer at once where it has had nothing
// for a while, so that a slow gauge costs one awakening a reading and not a second
// one behind it; else it sets the writer's timer, here and not on the writer's own
// goroutine, which would have to be woken for that alone.
func (j *Journal) put(m message, cost int64) {
	if j.closed {
		return
	}
	j.queue = append(j.queue, m)
	j.queued += cost
	switch {
	case j.queued > wakeBytes:
		j.poke()
	case len(j.queue) > 1:
	case time.Since(j.emptied) >= flushEvery:
		j.poke()
	default:
		j.flush.Reset(flushEvery)
	}
}

func (j *Journal) poke() {
	select {
	case j.wake <- struct{}{}:
	default:
	}
}

// takeQueue hands the queue to the writer.
func (j *Journal) takeQueue() []message {
	j.mu.Lock()
	defer j.mu.Unlock()
	q := j.queue
	j.queue, j.spare = j.spare[:0], nil
	j.taken, j.emptied = j.queued, time.Now()
	return q
}

// giveBack returns an emptied queue for reuse.
func (j *Journal) giveBack(q []message) {
	clear(q)
	j.mu.Lock()
	j.spare = q[:0]
	j.queued -= j.taken
	j.taken = 0
	j.mu.Unlock()
	j.room.Broadcast()
}

// Close writes the stop event and the last anchor, syncs everything and lets
// the folder go. Where the disk does not take it before ctx ends, the error
// says what was not written.
func (j *Journal) Close(ctx context.Context, at ledger.Stamp) error {
	j.mu.Lock()
	if j.closed {
		j.mu.Unlock()
		<-j.done
		return errClosed
	}
	j.put(message{close: &closing{ctx, at}}, 0)
	j.closed = true
	j.poke()
	j.room.Broadcast()
	j.mu.Unlock()
	<-j.done
	return j.err
}

func (j *Journal) receipt(r Receipt) {
	if j.o.Receipt == nil {
		return
	}
	j.telling.Lock()
	defer j.telling.Unlock()
	r.LoggedSeq = j.logged.Load()
	j.o.Receipt(r)
}

// lostReadings is the number of readings lost so far.
func (j *Journal) lostReadings() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.lost
}

// closeAll closes what is open and keeps every error.
func closeAll(list ...io.Closer) error {
	var errs []error
	for _, c := range list {
		if c != nil {
			errs = append(errs, c.Close())
		}
	}
	return errors.Join(errs...)
}

func (o *Options) fill() error {
	if err := CheckNumber(o.Number); err != nil {
		return err
	}
	if o.Dir == "" {
		return fmt.Errorf("no log folder given for job %s", o.Number)
	}
	if o.FS == nil {
		o.FS = osFS{}
	}
	if o.Limit == 0 {
		o.Limit = DefaultLimit
	}
	if o.Part == 0 {
		o.Part = DefaultPart
	}
	return nil
}

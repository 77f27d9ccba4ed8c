package port

import (
	"sync"
	"sync/atomic"
	"time"
)

// mine holds the devices this process has open, by what they are and not by
// name: two names for one device would share its bytes between two readers.
var mine sync.Map // deviceID to *claimed

// claimed is a device that this process has open.
type claimed struct {
	id      deviceID
	by      string // the name it was opened by
	closing atomic.Bool
	free    chan struct{} // closed once the device is free again
}

// closingTime is how long one waits for a port that is being closed. A device
// can come back, or its number go to another, before the closing is all done.
const closingTime = 2 * time.Second

// claim marks the device as ours, unless another program or another gauge of
// this bench has it.
func claim(a Address, dev device) (*claimed, error) {
	c := &claimed{id: dev.id, by: a.Text, free: make(chan struct{})}
	until := time.After(closingTime)
	for {
		other, taken := mine.LoadOrStore(dev.id, c)
		if !taken {
			break
		}
		before := other.(*claimed)
		if !before.closing.Load() {
			return nil, before.held(a)
		}
		select {
		case <-before.free:
		case <-until:
			return nil, before.held(a)
		}
	}
	if by := holders(dev); len(by) > 0 {
		c.release()
		return nil, &Held{Address: a.Text, By: by}
	}
	return c, nil
}

func (c *claimed) held(a Address) error {
	return &Held{Address: a.Text, Why: "open here already as " + c.by,
		Do: "write the same port in both [[gauge]] blocks, or unplug the twin"}
}

func (c *claimed) release() {
	mine.Delete(c.id)
	close(c.free)
}

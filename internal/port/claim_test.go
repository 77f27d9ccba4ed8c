package port

import (
	"errors"
	"testing"
)

// A device's number can come back, as another device or the same one, before
// the port that had it is all closed: the next one waits for it. While it is in
// use, though, it is held.
func TestClaimWaitsForAClosingPort(t *testing.T) {
	leaks(t)
	var dev device // no device of this computer
	first, err := claim(Address{Text: "first"}, dev)
	if err != nil {
		t.Fatal(err)
	}
	var held *Held
	if _, err := claim(Address{Text: "second"}, dev); !errors.As(err, &held) {
		t.Fatalf("a device in use was given again: %v", err)
	}
	// No program need be closed: it is this one.
	if want := "second: open here already as first: write the same port in both [[gauge]] blocks, or unplug the twin"; held.Error() != want {
		t.Errorf("it says %q, want %q", held, want)
	}
	first.closing.Store(true)
	got := make(chan error)
	go func() {
		c, err := claim(Address{Text: "second"}, dev)
		if err == nil {
			c.release()
		}
		got <- err
	}()
	select {
	case err := <-got:
		t.Fatalf("it did not wait: %v", err)
	default:
	}
	first.release()
	if err := <-got; err != nil {
		t.Fatal(err)
	}
}

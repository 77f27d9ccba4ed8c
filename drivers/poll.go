package drivers

import (
	"bytes"
	"fmt"
	"strings"
	"time"
)

// Defaults of a poll.
const (
	defaultEvery   = 200 * time.Millisecond
	defaultWait    = 500 * time.Millisecond
	defaultRetries = 2
	leastEvery     = 5 * time.Millisecond
)

func (c *compiler) poll() (err error) {
	f := c.f.Poll
	if f == nil {
		return nil
	}
	at := func(k string) []any { return []any{"poll", k} }
	p := &Poll{Every: defaultEvery, Wait: defaultWait, Retries: defaultRetries, Answers: f.Answers}
	if p.Start, err = c.sendBytes(f.Start, ""); err != nil {
		return wrongAt(at("start"), "= %v", err)
	}
	if err := c.duration(at("every"), f.Every, &p.Every); err != nil {
		return err
	}
	if p.Every < leastEvery {
		return wrongAt(at("every"), "= %q; expected %v or more", f.Every, leastEvery)
	}
	if err := c.duration(at("wait"), f.Wait, &p.Wait); err != nil {
		return err
	}
	if f.Retries != nil {
		if p.Retries = *f.Retries; p.Retries < 0 || p.Retries > 100 {
			return wrongAt(at("retries"), "= %d; expected 0 to 100", p.Retries)
		}
	}
	if p.Answers == 0 {
		p.Answers = 1
	}
	if p.Answers < 0 || p.Answers > mostItems {
		return wrongAt(at("answers"), "= %d; expected how many readings one answer brings, 1 to %d", f.Answers, mostItems)
	}
	sends, err := stringsOf(f.Send)
	if err != nil {
		return wrongAt(at("send"), "%v", err)
	}
	for _, s := range sends {
		per := strings.Contains(s, "{channel}")
		if per && len(f.Channels) == 0 {
			return wrongAt(at("send"), `has {channel}; expected channels = ["01", …] beside it`)
		}
		if !per {
			b, err := c.sendBytes(s, "")
			if err != nil {
				return wrongAt(at("send"), "= %v", err)
			}
			p.Asks = append(p.Asks, Ask{Send: b})
			continue
		}
		for _, ch := range f.Channels {
			b, err := c.sendBytes(s, ch)
			if err != nil {
				return wrongAt(at("send"), "= %v", err)
			}
			p.Asks = append(p.Asks, Ask{Channel: ch, Send: b})
		}
	}
	if len(p.Asks) == 0 && len(p.Start) == 0 {
		return wrongAt([]any{"poll"}, `has neither send nor start; expected such as send = "R<CR>"`)
	}
	if len(p.Asks) > 256 {
		return wrongAt(at("channels"), "gives %d polls; expected at most 256", len(p.Asks))
	}
	c.d.Poll = p
	return nil
}

// sendBytes fills in a poll's {channel} and {check}, which is taken over what
// stands before it, or between {from} and {to}.
func (c *compiler) sendBytes(s, channel string) ([]byte, error) {
	s = strings.ReplaceAll(s, "{channel}", channel)
	head, tail, checked := strings.Cut(s, "{check}")
	if !checked {
		return parseBytes(s)
	}
	k := c.check1
	if k == nil {
		return nil, fmt.Errorf("%q has {check} but the file has no [check] table", s)
	}
	before, rest, fromSaid := strings.Cut(head, "{from}")
	over, after, toSaid := strings.Cut(rest, "{to}")
	if !fromSaid && strings.Contains(head, "{to}") {
		return nil, fmt.Errorf("%q has {to} but no {from} before it", s)
	}
	var b []byte
	var ends [3]int
	for i, part := range []string{before, over, after} {
		x, err := parseBytes(part)
		if err != nil {
			return nil, err
		}
		b = append(b, x...)
		ends[i] = len(b)
	}
	data := 0
	if start := c.d.frame.start; bytes.HasPrefix(b, start) {
		data = len(start)
	}
	what := k.covered(b, data, len(b))
	if fromSaid {
		if what = b[ends[0]:]; toSaid {
			what = b[ends[0]:ends[1]]
		}
	}
	b = k.appendTo(b, k.kind.sum(what))
	last, err := parseBytes(tail)
	return append(b, last...), err
}

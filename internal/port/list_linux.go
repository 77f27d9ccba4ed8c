package port

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// host is where the kernel shows its devices; a test has its own.
type host struct{ dev, sys string }

var thisHost = host{"/dev", "/sys"}

// List names the ports of this computer: serial lines with their USB identity,
// and devices that act as a keyboard. Nothing is opened, since opening a serial
// line moves its control lines and may upset what hangs on it.
func List() ([]Info, error) {
	all := append(thisHost.serials(), thisHost.keyboards()...)
	for i := range all {
		thisHost.access(&all[i])
	}
	return all, nil
}

// Advice warns of an address that may lead to another gauge one day, "" for
// none.
func Advice(a Address) string { return thisHost.advice(a) }

func (h host) advice(a Address) string {
	if !a.Local() {
		return ""
	}
	path, err := filepath.EvalSymlinks(a.Path)
	if err != nil {
		return ""
	}
	list := h.serials
	if a.Kind == Keys {
		list = h.keyboards
	}
	bare := numbered.MatchString(strings.TrimPrefix(a.Path, h.dev))
	for _, i := range list() {
		if i.Path != path {
			continue
		}
		switch {
		case i.Twin && a.Path != i.ByPath && i.ByPath != "":
			return fmt.Sprintf("another adapter has the same identity and they cannot be told apart by it: write port = %q, which stays with the socket", i.Bind)
		case bare && i.Bind != a.Text:
			return fmt.Sprintf("the number in %s may go to another device after replugging: write port = %q", a.Path, i.Bind)
		}
	}
	if bare {
		return fmt.Sprintf("the number in %s may go to another device after replugging: write its name from /dev/serial/by-id or by-path", a.Path)
	}
	return ""
}

func (h host) serials() []Info {
	var all []Info
	entries, _ := os.ReadDir(filepath.Join(h.sys, "class/tty"))
	for _, e := range entries {
		dir := filepath.Join(h.sys, "class/tty", e.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(dir, "device"))
		if err != nil {
			continue // a console or another terminal without hardware
		}
		if kind, err := os.ReadFile(filepath.Join(dir, "type")); err == nil && strings.TrimSpace(string(kind)) == "0" {
			continue // a place for a serial line where there is none
		}
		i := Info{Path: filepath.Join(h.dev, e.Name()), What: "serial line of this computer"}
		h.usb(device, &i)
		all = append(all, i)
	}
	return h.named(all, "serial", "")
}

// usb fills in the identity of the USB device that dir lies in.
func (h host) usb(dir string, i *Info) {
	for root := filepath.Clean(h.sys); strings.HasPrefix(dir, root) && dir != root; dir = filepath.Dir(dir) {
		if n := word(dir, "bInterfaceNumber"); n != "" && i.Interface == "" {
			i.Interface = n
		}
		if i.Vendor = word(dir, "idVendor"); i.Vendor == "" {
			continue
		}
		i.Product, i.Serial = word(dir, "idProduct"), word(dir, "serial")
		i.What = strings.TrimSpace("USB: " + strings.TrimSpace(word(dir, "manufacturer")+" "+word(dir, "product")))
		if i.Serial == "" {
			i.What += " (no serial number of its own)"
		}
		return
	}
	i.Interface = ""
}

func word(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// keyboards lists the devices that can type digits or Enter.
func (h host) keyboards() []Info {
	var all []Info
	entries, _ := filepath.Glob(filepath.Join(h.sys, "class/input/event*"))
	for _, dir := range entries {
		if !types(word(dir, "device/capabilities/key")) {
			continue
		}
		i := Info{Path: filepath.Join(h.dev, "input", filepath.Base(dir))}
		if device, err := filepath.EvalSymlinks(filepath.Join(dir, "device")); err == nil {
			h.usb(device, &i)
		}
		i.What = "acts as a keyboard: " + word(dir, "device/name")
		all = append(all, i)
	}
	return h.named(all, "input", "keys:")
}

// types reads a bitmap of keys (64-bit words in hex, the highest first) and
// tells whether Enter or the Enter of the number pad is among them.
func types(bitmap string) bool {
	words := strings.Fields(bitmap)
	for _, key := range []int{keyEnter, keyPadEnter} {
		if n := len(words) - 1 - key/64; n >= 0 {
			if w, err := strconv.ParseUint(words[n], 16, 64); err == nil && w>>(key%64)&1 == 1 {
				return true
			}
		}
	}
	return false
}

// named finds the lasting names of the devices, their twins, and what to write.
func (h host) named(all []Info, sub, scheme string) []Info {
	byID, byPath := h.links(sub+"/by-id"), h.links(sub+"/by-path")
	for n := range all {
		i := &all[n]
		i.ByID, i.ByPath = byID[i.Path], byPath[i.Path]
		for m := range all {
			i.Twin = i.Twin || m != n && i.same(all[m])
		}
	}
	for n := range all {
		i := &all[n]
		switch {
		case i.ByID != "" && !i.Twin:
			i.Bind = i.ByID
		case i.ByPath != "":
			i.Bind = i.ByPath
		default:
			i.Bind = i.Path
		}
		i.Bind = scheme + i.Bind
	}
	sort.Slice(all, func(a, b int) bool {
		if len(all[a].Path) != len(all[b].Path) { // ttyUSB2 before ttyUSB10
			return len(all[a].Path) < len(all[b].Path)
		}
		return all[a].Path < all[b].Path
	})
	return all
}

// links maps devices to the names that lead to them.
func (h host) links(sub string) map[string]string {
	m := map[string]string{}
	entries, _ := os.ReadDir(filepath.Join(h.dev, sub))
	for _, e := range entries {
		name := filepath.Join(h.dev, sub, e.Name())
		if to, err := filepath.EvalSymlinks(name); err == nil && m[to] == "" {
			m[to] = name
		}
	}
	return m
}

// access tells who has the device and whether this user may open it.
func (h host) access(i *Info) {
	var st unix.Stat_t
	if unix.Stat(i.Path, &st) != nil {
		i.Problem = "its device file is missing"
		return
	}
	i.HeldBy = holders(device{path: i.Path, id: deviceID{uint64(st.Rdev)}})
	if unix.Access(i.Path, unix.R_OK|unix.W_OK) != nil {
		i.Problem = denied(Address{Text: i.Path}, i.Path).Error()
	} else if len(i.HeldBy) > 0 {
		i.Problem = (&Held{Address: i.Path, By: i.HeldBy}).Error()
	}
}

//go:build linux

package port

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// tree is a /dev and /sys of a computer with a line of its own, a place where
// there is none, two adapters of one kind that say the same of themselves, one
// with its own number and two lines, and a number pad.
func tree(t *testing.T) host {
	t.Helper()
	root, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	h := host{filepath.Join(root, "dev"), filepath.Join(root, "sys")}
	file := func(name, text string) {
		name = filepath.Join(root, name)
		os.MkdirAll(filepath.Dir(name), 0o755)
		if err := os.WriteFile(name, []byte(text+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	link := func(name, to string) {
		name = filepath.Join(root, name)
		os.MkdirAll(filepath.Dir(name), 0o755)
		if err := os.Symlink(filepath.Join(root, to), name); err != nil {
			t.Fatal(err)
		}
	}
	tty := func(name, device string) {
		file("dev/"+name, "")
		os.MkdirAll(filepath.Join(root, device), 0o755)
		link("sys/class/tty/"+name+"/device", device)
	}
	adapter := func(dir, vendor, product, maker, model, serial string) {
		file(dir+"/idVendor", vendor)
		file(dir+"/idProduct", product)
		file(dir+"/manufacturer", maker)
		file(dir+"/product", model)
		if serial != "" {
			file(dir+"/serial", serial)
		}
	}
	tty("ttyS0", "sys/devices/pnp0/00:04")
	file("sys/class/tty/ttyS0/type", "4")
	tty("ttyS1", "sys/devices/platform/serial8250")
	file("sys/class/tty/ttyS1/type", "0")
	os.MkdirAll(filepath.Join(root, "sys/class/tty/tty1"), 0o755)

	for i, name := range []string{"ttyUSB0", "ttyUSB10"} {
		dir := "sys/devices/usb1/1-" + string(rune('1'+i))
		adapter(dir, "1a86", "7523", "", "Serial", "")
		file(dir+"/1-1:1.0/bInterfaceNumber", "00")
		tty(name, dir+"/1-1:1.0/"+name)
	}
	link("dev/serial/by-id/usb-1a86_Serial-if00-port0", "dev/ttyUSB10")
	link("dev/serial/by-path/pci-usb-0:1:1.0-port0", "dev/ttyUSB0")
	link("dev/serial/by-path/pci-usb-0:2:1.0-port0", "dev/ttyUSB10")

	adapter("sys/devices/usb1/1-3", "0403", "6010", "Maker", "Dual", "A1B2")
	for i, name := range []string{"ttyUSB2", "ttyUSB3"} {
		dir := "sys/devices/usb1/1-3/1-3:1." + string(rune('0'+i))
		file(dir+"/bInterfaceNumber", "0"+string(rune('0'+i)))
		tty(name, dir+"/"+name)
		link("dev/serial/by-id/usb-Maker_Dual_A1B2-if0"+string(rune('0'+i)), "dev/"+name)
	}

	file("dev/input/event4", "")
	file("sys/devices/usb1/1-4/1-4:1.0/input/input9/name", "Number Pad")
	file("sys/devices/usb1/1-4/1-4:1.0/input/input9/capabilities/key", "1 10000000")
	adapter("sys/devices/usb1/1-4", "0c45", "7000", "", "Pad", "")
	link("sys/class/input/event4/device", "sys/devices/usb1/1-4/1-4:1.0/input/input9")
	link("dev/input/by-id/usb-Pad-event-kbd", "dev/input/event4")
	file("sys/class/input/event5/device/name", "Power Button") // no key that types
	file("sys/class/input/event5/device/capabilities/key", "10000000000000 0")
	return h
}

func TestList(t *testing.T) {
	h := tree(t)
	got := map[string]Info{}
	var order []string
	for _, i := range append(h.serials(), h.keyboards()...) {
		name, _ := filepath.Rel(h.dev, i.Path)
		i.Path = name
		got[name] = i
		order = append(order, name)
	}
	if want := "ttyS0 ttyUSB0 ttyUSB2 ttyUSB3 ttyUSB10 input/event4"; strings.Join(order, " ") != want {
		t.Errorf("ports %q, want %q", strings.Join(order, " "), want)
	}
	byID := h.dev + "/serial/by-id/"
	byPath := h.dev + "/serial/by-path/"
	for name, want := range map[string]Info{
		"ttyS0":        {What: "serial line of this computer", Bind: h.dev + "/ttyS0"},
		"ttyUSB0":      {What: "USB: Serial (no serial number of its own)", Bind: byPath + "pci-usb-0:1:1.0-port0", ByPath: byPath + "pci-usb-0:1:1.0-port0", Vendor: "1a86", Product: "7523", Interface: "00", Twin: true},
		"ttyUSB10":     {What: "USB: Serial (no serial number of its own)", Bind: byPath + "pci-usb-0:2:1.0-port0", ByPath: byPath + "pci-usb-0:2:1.0-port0", ByID: byID + "usb-1a86_Serial-if00-port0", Vendor: "1a86", Product: "7523", Interface: "00", Twin: true},
		"ttyUSB3":      {What: "USB: Maker Dual", Bind: byID + "usb-Maker_Dual_A1B2-if01", ByID: byID + "usb-Maker_Dual_A1B2-if01", Vendor: "0403", Product: "6010", Serial: "A1B2", Interface: "01"},
		"input/event4": {What: "acts as a keyboard: Number Pad", Bind: "keys:" + h.dev + "/input/by-id/usb-Pad-event-kbd", ByID: h.dev + "/input/by-id/usb-Pad-event-kbd", Vendor: "0c45", Product: "7000"},
	} {
		i := got[name]
		i.HeldBy = nil
		want.Path = name
		if i.Path != want.Path || i.What != want.What || i.Bind != want.Bind || i.ByID != want.ByID || i.ByPath != want.ByPath ||
			i.Vendor != want.Vendor || i.Product != want.Product || i.Serial != want.Serial || i.Interface != want.Interface || i.Twin != want.Twin {
			t.Errorf("%s:\n got %+v\nwant %+v", name, i, want)
		}
	}
}

// An address by an identity that two adapters share, or by a number, is warned
// of with the one to write; a good one is not.
func TestAdvice(t *testing.T) {
	h := tree(t)
	for path, want := range map[string]string{
		h.dev + "/serial/by-id/usb-1a86_Serial-if00-port0": `another adapter has the same identity and they cannot be told apart by it: write port = "` + h.dev + `/serial/by-path/pci-usb-0:2:1.0-port0", which stays with the socket`,
		h.dev + "/serial/by-path/pci-usb-0:2:1.0-port0":    "",
		h.dev + "/serial/by-id/usb-Maker_Dual_A1B2-if00":   "",
		h.dev + "/ttyS0":   "",
		h.dev + "/ttyUSB2": "the number in " + h.dev + `/ttyUSB2 may go to another device after replugging: write port = "` + h.dev + `/serial/by-id/usb-Maker_Dual_A1B2-if00"`,
	} {
		if got := h.advice(Address{Kind: Serial, Text: path, Path: path}); got != want {
			t.Errorf("%s:\n got %q\nwant %q", path, got, want)
		}
	}
	if got := h.advice(Address{Kind: TCP, Text: "tcp://h:1"}); got != "" {
		t.Errorf("network: %q", got)
	}
}

func TestListHere(t *testing.T) {
	all, err := List()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range all {
		if i.Path == "" || i.What == "" || i.Bind == "" {
			t.Errorf("%+v", i)
		}
		if _, err := ParseAddress(i.Bind); err != nil {
			t.Errorf("bind to %q: %v", i.Bind, err)
		}
	}
}

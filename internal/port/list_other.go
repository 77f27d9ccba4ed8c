//go:build !linux && !windows

package port

import "go.bug.st/serial"

// List names the serial ports of this computer. The library's enumerator of
// USB identities needs cgo here, so only the devices are named.
func List() ([]Info, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	all := make([]Info, 0, len(names))
	for _, n := range names {
		all = append(all, Info{Path: n, Bind: n, What: "serial line"})
	}
	return all, nil
}

// Advice warns of an address that may lead to another gauge one day. These
// systems name an adapter by its serial number or its socket.
func Advice(Address) string { return "" }

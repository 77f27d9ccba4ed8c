package port

import (
	"strings"

	"go.bug.st/serial/enumerator"
)

// List names the serial ports of this computer.
func List() ([]Info, error) {
	ports, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	all := make([]Info, 0, len(ports))
	for _, p := range ports {
		i := Info{Path: p.Name, Bind: p.Name, What: "serial line of this computer"}
		if p.IsUSB {
			i.Vendor, i.Product, i.Serial = strings.ToLower(p.VID), strings.ToLower(p.PID), p.SerialNumber
			i.What = strings.TrimSpace("USB: " + p.Product)
		}
		all = append(all, i)
	}
	for n := range all {
		for m := range all {
			all[n].Twin = all[n].Twin || m != n && all[n].same(all[m])
		}
	}
	return all, nil
}

// Advice warns of an address that may lead to another gauge one day. Windows
// keeps the number of an adapter.
func Advice(Address) string { return "" }

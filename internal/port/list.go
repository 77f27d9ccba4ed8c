package port

import "regexp"

// Info is one port of this computer.
type Info struct {
	Path      string    `json:"path"`                // the device now; its number may change
	What      string    `json:"what"`                // plain words
	Bind      string    `json:"bind"`                // what to write as port = in bench.toml
	ByID      string    `json:"by_id,omitempty"`     // stays with the adapter
	ByPath    string    `json:"by_path,omitempty"`   // stays with the socket
	Vendor    string    `json:"vendor,omitempty"`    // USB vendor number, four hex digits
	Product   string    `json:"product,omitempty"`   // USB product number, four hex digits
	Serial    string    `json:"serial,omitempty"`    // USB serial number
	Interface string    `json:"interface,omitempty"` // of an adapter with several lines
	Twin      bool      `json:"twin,omitempty"`      // another adapter says it is the very same
	HeldBy    []Process `json:"held_by,omitempty"`
	Problem   string    `json:"problem,omitempty"` // why it cannot be opened now, and what to do
}

// numbered is a device name, within /dev, that goes to whichever adapter is
// plugged in first.
var numbered = regexp.MustCompile(`^/(tty(USB|ACM)|rfcomm|input/event)[0-9]+$`)

// same tells whether two adapters cannot be told apart by what they say of
// themselves.
func (i Info) same(j Info) bool {
	return i.Vendor != "" && i.Vendor == j.Vendor && i.Product == j.Product && i.Serial == j.Serial && i.Interface == j.Interface
}

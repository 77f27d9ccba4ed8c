//go:build !linux

package port

func openKeys(a Address) (Port, error) {
	return nil, &BadAddress{a.Text, "a keyboard can be read exclusively on Linux only"}
}

package demo

import "net"

// freeListen is address where it can be listened on, else a free port of the
// same host.
func freeListen(address string) string {
	l, err := net.Listen("tcp", address)
	if err == nil {
		l.Close()
		return address
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	return net.JoinHostPort(host, "0")
}

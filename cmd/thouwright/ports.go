package main

import (
	"encoding/json"
	"fmt"
	"io"

	"thouwright/internal/port"
)

type portsCmd struct {
	JSON bool `name:"json" help:"Print JSON."`
}

func (c *portsCmd) Example() string { return "thouwright ports" }

// portsList is what ports --json prints.
type portsList struct {
	Ports []port.Info `json:"ports"`
}

func (c *portsCmd) Run(ctx *runContext) error {
	all, err := port.List()
	if err != nil {
		return workFailed{fmt.Errorf("the ports cannot be listed: %w", err)}
	}
	if c.JSON {
		if all == nil {
			all = []port.Info{}
		}
		e := json.NewEncoder(ctx.Out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(portsList{all})
	}
	return printPorts(ctx.Out, all)
}

// printPorts prints each port with the line to write in bench.toml. Nothing was
// opened to find it out.
func printPorts(w io.Writer, all []port.Info) error {
	var b []byte
	if len(all) == 0 {
		b = append(b, "no ports: plug a gauge or its adapter in and look again\n"...)
	}
	for i, p := range all {
		if i > 0 {
			b = append(b, '\n')
		}
		b = fmt.Appendf(b, "%s\n  %s\n", p.Path, p.What)
		if p.Vendor != "" {
			b = fmt.Appendf(b, "  USB identity %s:%s", p.Vendor, p.Product)
			if p.Serial != "" {
				b = fmt.Appendf(b, ", serial number %s", p.Serial)
			}
			if p.Interface != "" {
				b = fmt.Appendf(b, ", interface %s", p.Interface)
			}
			b = append(b, '\n')
		}
		b = fmt.Appendf(b, "  port = %q\n", p.Bind)
		if p.Twin {
			b = append(b, "  another adapter has the same identity: bind by the socket (by-path), and keep each in its own\n"...)
		}
		for _, n := range []struct{ name, path string }{{"by id", p.ByID}, {"by socket", p.ByPath}} {
			if n.path != "" && n.path != p.Bind && "keys:"+n.path != p.Bind {
				b = fmt.Appendf(b, "  %s: %s\n", n.name, n.path)
			}
		}
		if p.Problem != "" {
			b = fmt.Appendf(b, "  now: %s\n", p.Problem)
		}
	}
	_, err := w.Write(b)
	return err
}

// Package metal is the one table of what sums and methods need to know of a
// metal. It is pure.
package metal

import "sort"

// Metal is a metal's elasticity and expansion.
type Metal struct {
	E     float64 // Young's modulus, MPa
	Nu    float64 // Poisson's ratio
	Alpha float64 // linear expansion near 20 °C, 1/K
}

// table: expansion from Callister, Table B.6 (testdata/reference/expansion.csv,
// seen); moduli and Poisson's ratios handbook values, from memory. Alloys vary by
// several per cent, so each can be overruled where it is used.
var table = map[string]Metal{
	"steel":            {206e3, 0.30, 11.5e-6},
	"mild steel":       {206e3, 0.30, 11.7e-6},
	"cast iron":        {100e3, 0.26, 11.4e-6},
	"ductile iron":     {169e3, 0.29, 11.2e-6},
	"bronze":           {100e3, 0.34, 18.0e-6}, // bearing bronze C93200
	"phosphor bronze":  {110e3, 0.34, 17.8e-6},
	"aluminium bronze": {115e3, 0.33, 16.2e-6},
	"brass":            {97e3, 0.34, 20.5e-6},
	"aluminium":        {69e3, 0.33, 23.6e-6},
	"cast aluminium":   {72.4e3, 0.33, 21.5e-6},
}

// Find is the metal of a name; ok is false for one that the table lacks.
func Find(name string) (m Metal, ok bool) {
	m, ok = table[name]
	return m, ok
}

// Names are the table's metals in the order of the alphabet.
func Names() []string {
	var n []string
	for k := range table {
		n = append(n, k)
	}
	sort.Strings(n)
	return n
}

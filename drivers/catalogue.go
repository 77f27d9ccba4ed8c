package drivers

import (
	"embed"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"

	"thouwright/internal/form"
)

//go:embed *.toml
var builtIn embed.FS

// Catalogue is the drivers by name: the built-in ones and, on top, a user's.
type Catalogue struct {
	byName map[string]*Driver
	broken map[string]error // a user's own with a mistake, by the file's name
}

var builtInOnce = sync.OnceValue(func() *Catalogue {
	c := &Catalogue{byName: map[string]*Driver{}}
	files, err := builtIn.ReadDir(".")
	if err != nil {
		panic(err)
	}
	for _, f := range files {
		text, err := builtIn.ReadFile(f.Name())
		if err != nil {
			panic(err)
		}
		d, err := Parse(f.Name(), text)
		if err != nil {
			panic("built-in driver " + err.Error())
		}
		c.byName[d.Name] = d
	}
	return c
})

// BuiltIn is the built-in drivers.
func BuiltIn() *Catalogue { return builtInOnce() }

// Load is the built-in drivers and those of the folder dir, which win over
// built-in ones of the same name. A broken file is one error and takes nothing
// else down; no built-in driver stands in for it, which may read otherwise. "" is
// no folder.
func Load(dir string) (*Catalogue, []error) {
	c := &Catalogue{byName: map[string]*Driver{}, broken: map[string]error{}}
	for name, d := range BuiltIn().byName {
		c.byName[name] = d
	}
	if dir == "" {
		return c, nil
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if _, e := os.Stat(dir); err == nil {
		err = e
	}
	if err != nil {
		return c, []error{fmt.Errorf("driver_dir %s: %w", dir, err)}
	}
	var errs []error
	from := map[string]string{}
	for _, f := range files {
		d, err := ReadFile(f)
		if err != nil {
			errs = append(errs, err)
			c.broken[fileName(f)] = err
			continue
		}
		if was, ok := from[d.Name]; ok {
			errs = append(errs, fmt.Errorf("%s: the name %q is taken by %s; give it another", f, d.Name, was))
			continue
		}
		from[d.Name] = f
		c.byName[d.Name] = d
	}
	for name := range c.broken {
		if _, ok := from[name]; ok { // another file bears the name
			delete(c.broken, name)
			continue
		}
		delete(c.byName, name)
	}
	return c, errs
}

// fileName is the name a driver has where its file gives none.
func fileName(file string) string { return strings.TrimSuffix(filepath.Base(file), ".toml") }

// ReadFile reads and compiles one driver file.
func ReadFile(file string) (*Driver, error) {
	text, err := form.ReadFile(file, "driver file")
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return Parse(file, text)
}

// With is the catalogue with other drivers in the place of those of their names.
func (c *Catalogue) With(others ...*Driver) *Catalogue {
	all := &Catalogue{byName: maps.Clone(c.byName), broken: c.broken}
	for _, d := range others {
		all.byName[d.Name] = d
	}
	return all
}

// Broken is the mistake in the user's own driver file of that name; nil for none.
func (c *Catalogue) Broken(name string) error {
	if _, whole := c.byName[name]; whole {
		return nil
	}
	return c.broken[name]
}

// Find is the driver of that name.
func (c *Catalogue) Find(name string) (*Driver, error) {
	if d, ok := c.byName[name]; ok {
		return d, nil
	}
	if err := c.Broken(name); err != nil {
		return nil, err
	}
	names := keysOf(c.byName)
	return nil, fmt.Errorf("unknown driver %q%s; expected one of %s", name, didYouMean(name, names), strings.Join(names, ", "))
}

// All is every driver, by name.
func (c *Catalogue) All() []*Driver {
	all := make([]*Driver, 0, len(c.byName))
	for _, d := range c.byName {
		all = append(all, d)
	}
	sort.Slice(all, func(i, j int) bool { return all[i].Name < all[j].Name })
	return all
}

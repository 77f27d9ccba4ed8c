package page

import (
	"encoding"
	"fmt"
	"strings"

	"thouwright/config"
	"thouwright/internal/quantity"
)

// draftWarmth is what the form says of a part's material and temperature, and of
// the gauge or master it is compared with, in the sheet's own words.
type draftWarmth struct {
	Material          string `json:"material"`
	Temperature       string `json:"temperature"`
	SinceHandling     string `json:"since_handling"`
	GaugeTemperature  string `json:"gauge_temperature"`
	Master            string `json:"master"`
	MasterMaterial    string `json:"master_material"`
	MasterTemperature string `json:"master_temperature"`
}

// typed reads a field of the form; nil where it was left empty.
func typed[T any, P interface {
	*T
	encoding.TextUnmarshaler
}](key, text string) (*T, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return nil, nil
	}
	v := new(T)
	if err := P(v).UnmarshalText([]byte(text)); err != nil {
		return nil, fmt.Errorf("%s: %w", key, err)
	}
	return v, nil
}

// part is what holds for the part itself.
func (w draftWarmth) part() (t config.Thermal, err error) {
	if t.Material, err = typed[config.Material]("material", w.Material); err != nil {
		return t, err
	}
	if t.Temperature, err = typed[quantity.Measured]("temperature", w.Temperature); err != nil {
		return t, err
	}
	t.SinceHandling, err = typed[config.Handling]("since_handling", w.SinceHandling)
	return t, err
}

// on writes it into a check.
func (w draftWarmth) on(c *config.Check) error {
	t, err := w.part()
	if err != nil {
		return err
	}
	c.Material, c.Temperature, c.SinceHandling = t.Material, t.Temperature, t.SinceHandling
	if c.GaugeTemperature, err = typed[quantity.Measured]("gauge_temperature", w.GaugeTemperature); err != nil {
		return err
	}
	if c.Master, err = typed[quantity.Quantity]("master", w.Master); err != nil {
		return err
	}
	if c.MasterMaterial, err = typed[config.Material]("master_material", w.MasterMaterial); err != nil {
		return err
	}
	c.MasterTemperature, err = typed[quantity.Measured]("master_temperature", w.MasterTemperature)
	return err
}

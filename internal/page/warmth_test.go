package page

import (
	"slices"
	"strings"
	"testing"

	"thouwright/config"
)

// What refers sizes to 20 °C is filled in at the form, from a template and from
// nothing, and stands in the sheet that the bench keeps, which says of no check
// that anything is missing. What was typed for a method that is no size stays out.
func TestTemperaturesOfTheForm(t *testing.T) {
	sc := newScene()
	m, bench, kept := atABench(t, sc, "[[gauge]]\nname = \"dial-1\"\nport = \"tape:a\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror = \"0.002 mm\"\nrange = \"-20..20 mm\"\n[[gauge]]\nname = \"mic-1\"\nport = \"tape:b\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror = \"0.002 mm\"\n")
	view(t, m.ctx, "sheet")
	unfold := func(title string) {
		t.Helper()
		m.goTo(`[...document.querySelectorAll('summary')].findLast(s => s.checkVisibility() && s.innerText.startsWith("` + title + `"))`)
		m.keys("\r")
	}
	if js[bool](t, m.ctx, `[...document.querySelectorAll('label')].some(l => l.checkVisibility() && l.innerText.startsWith('Room'))`) {
		t.Error("the group is not folded")
	}
	m.typeIn("Number", "T28-032")
	unfold("Temperature of the shop")
	m.typeIn("Room", "18 ± 1 degC")

	m.press("+ Taper")
	m.typeIn("micrometer", "mic-1")
	unfold("Material and temperature")
	m.typeIn("Material", "steel")
	m.typeIn("Or in the room", "2 h")
	unfold("Temperature: diameter")
	m.typeIn("The gauge's", "20 ± 1 degC")

	m.press("+ from nothing")
	m.typeIn("Component", "axle end")
	unfold("Material and temperature")
	m.typeIn("Material", "cast iron")
	m.typeIn("Its own", "24 ± 1 degC")
	m.typeIn("Check", "bore")
	m.typeIn("Gauge", "dial-1")
	m.typeIn("Method", "size")
	unfold("Temperature, where it differs")
	m.typeIn("Its own", "26 ± 1 degC")
	m.typeIn("Master it is set to", "32.000 mm")
	m.typeIn("The master's material", "17.2 ± 0.4 um/m/degC")
	m.typeIn("The master's temperature", "19 ± 1 degC")
	m.press("+ check")
	m.typeIn("Check", "play")
	m.typeIn("Gauge", "dial-1")
	m.typeIn("Method", "size")
	unfold("Temperature, where it differs")
	m.typeIn("Its own", "30 degC")
	m.typeIn("Method", "play")

	shot(t, m.ctx, "sheet-temperature")
	look(t, m.ctx, 1280, 800, "light")
	m.press("Write the sheet")
	until(t, m.ctx, `document.querySelector('.sheettext')?.value.includes('axle end')`)
	m.press("Keep and use it")
	if ps := kept(); len(ps) > 0 {
		t.Fatalf("the bench says of the sheet: %v", ps)
	}
	m.gave("job")
	path, err := config.FindJob(bench, "T28-032")
	if err != nil {
		t.Fatal(err)
	}
	j, ps := config.LoadJob(path)
	if j == nil {
		t.Fatal(ps)
	}
	var got []string
	for _, line := range strings.Split(string(config.WriteJob(j)), "\n") {
		key, value, _ := strings.Cut(strings.TrimSpace(line), " = ")
		if slices.Contains([]string{"name", "room", "material", "temperature", "since_handling", "gauge_temperature", "master", "master_material", "master_temperature"}, key) {
			got = append(got, key+" "+value)
		}
	}
	want := []string{
		`room "18 ± 1 °C"`,
		`name "shaft"`, `material "steel"`, `since_handling "2 h"`,
		`name "diameter"`, `gauge_temperature "20 ± 1 °C"`, `name "taper"`,
		`name "axle end"`, `material "cast iron"`, `temperature "24 ± 1 °C"`,
		`name "bore"`, `master "32.000 mm"`, `temperature "26 ± 1 °C"`, `master_material "17.2 ± 0.4 um/m/degC"`, `master_temperature "19 ± 1 °C"`,
		`name "play"`,
	}
	if !slices.Equal(got, want) {
		t.Errorf("the sheet says\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A mistake in them is one line that names the part and the key.
func TestTemperaturesThatCannotBe(t *testing.T) {
	part := func(w draftWarmth) draft {
		return draft{Number: "T28-033", Parts: []draftPart{{Name: "pin", Warmth: w}}}
	}
	check := func(w draftWarmth) draft {
		return draft{Number: "T28-033", Parts: []draftPart{{Name: "pin", Checks: []draftCheck{{Name: "dia", Method: "size", Warmth: w}}}}}
	}
	for want, d := range map[string]draft{
		`room: "warm" is not a quantity`:                  {Number: "T28-033", Room: "warm"},
		`pin: material: found "steal"`:                    part(draftWarmth{Material: "steal"}),
		`pin: temperature: "24 x"`:                        part(draftWarmth{Temperature: "24 x"}),
		`pin: since_handling: found "long"`:               part(draftWarmth{SinceHandling: "long"}),
		`pin: dia: gauge_temperature: "-" is not a quan`:  check(draftWarmth{GaugeTemperature: "-"}),
		`pin: dia: master: "big" is not a quantity`:       check(draftWarmth{Master: "big"}),
		`pin: dia: master_material: found "cheese"`:       check(draftWarmth{MasterMaterial: "cheese"}),
		`pin: dia: master_temperature: "y" is not a quan`: check(draftWarmth{MasterTemperature: "20 ± y"}),
	} {
		text, err := d.sheet()
		if err == nil {
			t.Errorf("%s: written:\n%s", want, text)
		} else if !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q does not begin with %q", err, want)
		}
	}
}

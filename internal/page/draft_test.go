package page

import (
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"

	"thouwright/config"
)

// A job made from every template, and one from nothing, is a sheet that reads
// without a mistake.
func TestDraftIsASheet(t *testing.T) {
	var d draft
	d.Number, d.Machine, d.Stages = "2026-042", `Tarnbeck "T28"`, []string{"as found", "assembled"}
	for _, tp := range config.Templates() {
		p := draftPart{Template: tp.ID, Name: tp.ID, Gauges: map[string]string{}, Limits: map[string]string{}, Source: "manual, table 3"}
		for _, r := range tp.Roles {
			p.Gauges[r.ID] = "g-" + r.ID
		}
		p.Limits[tp.Checks[len(tp.Checks)-1].Name] = "..0.050 mm"
		if strings.HasPrefix(tp.ID, "drag") {
			p.Limits[tp.Checks[0].Name] = "..12 N"
		}
		if tp.ID == "over-centre" {
			p.Limits[tp.Checks[0].Name] = "..1.2 N·m"
		}
		d.Parts = append(d.Parts, p)
	}
	d.Parts = append(d.Parts, draftPart{Name: "rocker shaft", Places: []string{"inlet", "exhaust"}, Checks: []draftCheck{
		{Name: "play", Method: "play", Gauge: "dial-1", Limits: "0.009..0.050 mm", Source: "=1+1", Strokes: "8"},
		{Name: "diameter", Method: "size", Gauge: "mic-1", Limits: "32 g6"}}})
	text, err := d.sheet()
	if err != nil {
		t.Fatal(err)
	}
	j, problems := config.ParseJob("2026-042.toml", text)
	if j == nil || len(problems) > 0 {
		t.Fatalf("the sheet does not read: %v\n%s", problems, text)
	}
	last := j.Components[len(j.Components)-1]
	if j.Machine != d.Machine || len(j.Components) != len(d.Parts) || last.Checks[0].Strokes != 8 || last.Checks[1].Fit != "32 g6" || last.Checks[0].Source != "=1+1" || len(last.Checks[0].Positions) != 2 {
		t.Errorf("read back: %+v", last)
	}
	if strings.Count(string(text), `source = "manual, table 3"`) < len(config.Templates()) {
		t.Errorf("the limits' source is missing:\n%s", text)
	}
}

func TestSheetOverHTTP(t *testing.T) {
	kept := map[string]string{"T28-014": "number = \"T28-014\"\n"}
	s := serve(t, newFakeDesk(), Options{ChangeToken: "c", ReadToken: "r",
		SaveSheet: func(n string, text []byte) error {
			if strings.Contains(string(text), "bad") {
				return errors.New(`jobs/` + n + `.toml:3: unknown key "bad"`)
			}
			kept[n] = string(text)
			return nil
		},
		Sheet: func(n string) ([]byte, error) {
			if kept[n] == "" {
				return nil, os.ErrNotExist
			}
			return []byte(kept[n]), nil
		}})
	auth := "Authorization: Bearer c"
	for _, c := range []struct {
		path, body, auth string
		code             int
		says             string
	}{
		{"draft", `{"number":"A-1","parts":[{"template":"bush-play"}]}`, auth, 422, "name the gauge"},
		{"draft", `{"number":"../x"}`, auth, 422, "number"},
		{"draft", `{"number":"A-1","parts":[{"name":"pin","checks":[{"name":"play","method":"play","limits":"5"}]}]}`, auth, 422, "not a range"},
		{"draft", `{"number":"A-1","parts":[{"name":"pin","checks":[{"name":"play","strokes":"many"}]}]}`, auth, 422, "strokes"},
		{"draft", `{"number":"A-1","parts":[{"template":"none"}]}`, auth, 422, "no template"},
		{"sheet", `{"number":"A-1","text":"number = \"A-1\""}`, auth, 200, "A-1"},
		{"sheet", `{"number":"A-1","text":"x"}`, auth, 409, "already"},
		{"sheet", `{"number":"A-1","text":"y","replace":true}`, auth, 200, "A-1"},
		{"sheet", `{"number":"A-2","text":"bad = 1"}`, auth, 422, "toml:3"},
		{"sheet", `{"number":"../../etc/x","text":""}`, auth, 422, "job number"},
		{"sheet", `{"number":"A-3","text":""}`, "Authorization: Bearer r", 403, "look"},
	} {
		code, body, _ := ask(t, "POST", s.URL()+"api/"+c.path, c.body, c.auth, isJSON)
		if code != c.code || !strings.Contains(body, c.says) {
			t.Errorf("%s %s: %d %s, want %d and %q", c.path, c.body, code, body, c.code, c.says)
		}
	}
	if kept["A-1"] != "y" || kept["A-2"] != "" || kept["A-3"] != "" {
		t.Errorf("kept: %q", kept)
	}
	code, body, _ := ask(t, "GET", s.URL()+"api/sheet/T28-014", "")
	var got struct{ Text string }
	if json.Unmarshal([]byte(body), &got); code != 200 || got.Text != kept["T28-014"] {
		t.Errorf("reading a sheet: %d %s", code, body)
	}
}

// Every sum's form can be filled in from its own examples' fields, and the
// pictures are there.
func TestSumsOverHTTP(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{})
	_, body, _ := ask(t, "GET", s.URL()+"api/sums", "")
	var all struct{ Sums []sumForm }
	if err := json.Unmarshal([]byte(body), &all); err != nil || len(all.Sums) < 9 {
		t.Fatalf("%d sums, %v", len(all.Sums), err)
	}
	for _, f := range all.Sums {
		if code, svg, h := ask(t, "GET", s.URL()+"sums/"+f.Verb+".svg", ""); code != 200 || !strings.HasPrefix(svg, `<svg xmlns="http://www.w3.org/2000/svg"`) || h.Get("Content-Type") != "image/svg+xml" {
			t.Errorf("%s: picture %d %.40s", f.Verb, code, svg)
		}
		if strings.Contains(f.About, "--") {
			t.Errorf("%s speaks of flags: %s", f.Verb, f.About)
		}
	}
	// JCGM 106 guard aside, the bore is shaft plus clearance.
	code, body, _ := ask(t, "POST", s.URL()+"api/sums/bush", `{"fields":{"shaft":["31.870 mm"],"clearance":["0.009..0.050 mm"]},"unit":"mm"}`, isJSON)
	if code != 200 || !strings.Contains(body, "31.8790..31.9200 mm") {
		t.Errorf("bush: %d %s", code, body)
	}
	for verb, want := range map[string]int{"bush": 422, "nothing": 404} {
		if code, body, _ := ask(t, "POST", s.URL()+"api/sums/"+verb, `{"fields":{"shaft":["31.870 mm"]}}`, isJSON); code != want || strings.Contains(body, "--") {
			t.Errorf("%s: %d %s", verb, code, body)
		}
	}
}

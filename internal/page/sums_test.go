package page

import (
	"encoding/json"
	"encoding/xml"
	"strings"
	"testing"

	"thouwright/internal/sums"
)

// TestSumsOnThePage: every sum has its form, its sketch and its answer, from the
// same definitions as the command, and nothing on the page speaks of flags.
func TestSumsOnThePage(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{ChangeToken: "change-me", ReadToken: "read-me"})
	auth := "Authorization: Bearer read-me" // a sum changes nothing
	code, body, _ := ask(t, "GET", s.URL()+"api/sums", "", auth)
	var forms struct{ Sums []sumForm }
	if err := json.Unmarshal([]byte(body), &forms); code != 200 || err != nil || len(forms.Sums) != len(sums.All()) {
		t.Fatalf("%d %.80s %v", code, body, err)
	}
	if strings.Contains(body, "--") {
		t.Error("a form speaks of flags")
	}
	for _, f := range forms.Sums {
		code, svg, _ := ask(t, "GET", s.URL()+"sums/"+f.Verb+".svg", "", auth)
		if code != 200 || xml.Unmarshal([]byte(svg), new(struct{})) != nil || !strings.Contains(svg, "viewBox") {
			t.Errorf("%s: sketch %d %.60s", f.Verb, code, svg)
		}
	}
	for _, c := range []struct {
		path, body string
		code       int
		says       string
	}{
		{"bush", `{"fields":{"shaft":["31.87 mm","31.872 mm"],"clearance":["0.009..0.050 mm"]},"unit":"in"}`, 200, "1.25516..1.25669 in"},
		{"shim", `{"fields":{"play":["0.31 mm"],"band":["0.02..0.05 mm"],"stock":["0.10 mm","0.18 mm"]}}`, 200, "0.10 mm, 0.18 mm"},
		{"press", `{"fields":{"interference":["0.05 mm"],"at":["30 mm"]}}`, 200, "press force: give length"},
		{"bush", `{"fields":{"shaft":["31.87 mm"]}}`, 422, "clearance is missing"},
		{"bush", `{"fields":{"shaft":["31.87"],"clearance":["0.009..0.050 mm"]},"unit":"thou"}`, 422, "could be mm or thou"},
		{"bush", `{"fields":{"width":["1"]}}`, 422, "has no"},
		{"bush", `{"fields":{},"unit":"kg"}`, 422, "unit of length"},
		{"wedge", `{"fields":{}}`, 404, "no such sum"},
	} {
		code, body, _ := ask(t, "POST", s.URL()+"api/sums/"+c.path, c.body, auth, isJSON)
		if code != c.code || !strings.Contains(body, c.says) || strings.Contains(body, "--") {
			t.Errorf("%s %s: %d %s, want %d and %q", c.path, c.body, code, body, c.code, c.says)
		}
	}
}

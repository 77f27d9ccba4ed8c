package page

import (
	"errors"
	"strings"
	"testing"

	"thouwright/internal/ledger"
)

func TestCommandsReachTheDesk(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{ChangeToken: "change-me", ReadToken: "read-me"})
	auth := "Authorization: Bearer change-me"
	for name := range commands {
		if code, body, _ := ask(t, "POST", s.URL()+"api/"+name, `{"position":"left lock","text":"pitted"}`, auth, isJSON); code != 200 {
			t.Errorf("%s: %d %s", name, code, body)
		}
		did := d.commands()
		if got := did[len(did)-1]; got.Do != name || got.By != "page" || got.Position != "left lock" || got.Text != "pitted" {
			t.Errorf("%s became %+v", name, got)
		}
	}
	before := len(d.commands())
	for _, c := range []struct {
		path, body, auth, kind string
		code                   int
		says                   string
	}{
		{"accept", "", auth, "Content-Type: text/plain", 415, "application/json"},
		{"accept", "{", auth, isJSON, 400, "JSON"},
		{"accept", `{"colour":"red"}`, auth, isJSON, 400, "colour"},
		{"accept", `{} {}`, auth, isJSON, 400, "more than one"},
		{"note", `{"text":"` + strings.Repeat("x", bodyBytes) + `"}`, auth, isJSON, 413, "too much"},
		{"accept", `{"do":"redo"}`, auth, isJSON, 400, "different commands"},
		{"accept", `{"sheet":"x"}`, auth, isJSON, 400, "api/sheet"},
		{"bench", `{}`, auth, isJSON, 404, "no such command"},
		{"accept", `{}`, "X: y", isJSON, 401, "not paired"},
		{"accept", `{}`, "Authorization: Bearer read-me", isJSON, 403, "look but not change"},
		{"accept", `{}`, "Cookie: thouwright=change-me", isJSON, 401, "not paired"},
	} {
		code, body, _ := ask(t, "POST", s.URL()+"api/"+c.path, c.body, c.auth, c.kind)
		if code != c.code || !strings.Contains(body, c.says) {
			t.Errorf("%s %.40q %s: %d %s, want %d and %q", c.path, c.body, c.auth, code, body, c.code, c.says)
		}
	}
	if n := len(d.commands()); n != before {
		t.Errorf("%d refused commands reached the desk", n-before)
	}
	d.fail = errors.New("no take to redo yet: measure first")
	if code, body, _ := ask(t, "POST", s.URL()+"api/"+ledger.DoRedo, "", auth, isJSON); code != 409 || !strings.Contains(body, "measure first") {
		t.Errorf("a refusal of the desk: %d %s", code, body)
	}
}

package page

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// Only who may change sends photographs, of a bounded size, and nobody but the
// bench states their sum.
func TestPhotographsComeIn(t *testing.T) {
	d := newFakeDesk()
	var got int
	s := serve(t, d, Options{ChangeToken: "change-me", ReadToken: "read-me", Photo: func(r io.Reader) (string, error) {
		b, err := io.ReadAll(r)
		got = len(b)
		if err == nil && string(b) == "no picture" {
			err = errors.New("expected a photograph")
		}
		return "photos/a.jpg", err
	}})
	for _, c := range []struct {
		auth, body string
		code       int
		says       string
	}{
		{"X: y", "picture", 401, "not paired"},
		{"Cookie: thouwright=change-me", "picture", 401, "not paired"},
		{"Authorization: Bearer read-me", "picture", 403, "look but not change"},
		{"Authorization: Bearer change-me", "no picture", 422, "expected a photograph"},
		{"Authorization: Bearer change-me", strings.Repeat("x", photoBytes+1), 413, "25 MB"},
		{"Authorization: Bearer change-me", strings.Repeat("x", 3<<20), 200, `"photo":"photos/a.jpg"`},
	} {
		code, body, _ := ask(t, "POST", s.URL()+"api/photo", c.body, c.auth)
		if code != c.code || !strings.Contains(body, c.says) {
			t.Errorf("%s, %d bytes: %d %s, want %d and %q", c.auth, len(c.body), code, body, c.code, c.says)
		}
	}
	if got != 3<<20 {
		t.Errorf("%d bytes came", got)
	}
	if code, _, _ := ask(t, "POST", s.URL()+"api/note", `{"text":"x","photo":"photos/a.jpg","photo_sum":"00"}`, "Authorization: Bearer change-me", isJSON); code != 400 {
		t.Errorf("a sum from outside: %d", code)
	}
}

// A person chooses a picture in the note's window: it is sent first, the note
// names what the bench made of it, and a refusal keeps the window with its words.
func TestANoteWithAPhotograph(t *testing.T) {
	sc := newScene()
	came := make(chan string, 4)
	ctx := open(t, serve(t, sc.d, Options{Photo: func(r io.Reader) (string, error) {
		b, err := io.ReadAll(r)
		came <- string(b)
		if string(b) == "refused" {
			return "", errors.New("expected a photograph as JPEG or PNG")
		}
		return "photos/made-here.jpg", err
	}}))
	file := filepath.Join(t.TempDir(), "=1+1 <b>.jpg")
	send := func(text string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		do(t, ctx, chromedp.SetUploadFiles(`dialog input[type=file]`, []string{file}))
		js[bool](t, ctx, `document.querySelector('dialog button.main').click() ?? true`)
		if b := <-came; b != text {
			t.Errorf("came %q", b)
		}
	}
	do(t, ctx, chromedp.KeyEvent("n"))
	until(t, ctx, `document.querySelector('dialog textarea') === document.activeElement`)
	send("refused")
	until(t, ctx, `document.querySelector('#toast .bad')?.innerText.includes('JPEG or PNG') && document.querySelector('dialog textarea')`)
	send("a picture")
	until(t, ctx, `!document.querySelector('dialog')`)
	did := sc.d.commands()
	if len(did) != 1 || did[0].Do != "note" || did[0].Photo != "photos/made-here.jpg" {
		t.Errorf("the desk was given %+v", did)
	}
}

package drivers

import (
	"strings"
	"testing"
)

// What a poll sends, with its channel and check bytes filled in. The sums are
// worked by hand: 'R' is 0x52, '1' 0x31, '2' 0x32, STX 2, ':' 0x3A.
func TestPollBytes(t *testing.T) {
	const check = "[check]\nkind = 'sum'\nas = 'hex'\n"
	for _, c := range []struct{ text, want string }{
		{"[poll]\nsend = 'R<CR>'\n", "R\r"},
		{"[poll]\nsend = 'R{channel}<CR>'\nchannels = ['1', '2']\n", "R1\r R2\r"},
		{"[poll]\nsend = 'R{channel}{check}<CR>'\nchannels = ['1', '2']\n" + check, "R183\r R284\r"},
		{"[poll]\nsend = '<STX>R1{check}<CR>'\n[frame]\nstart = '<STX>'\n" + check, "\x02R183\r"},
		{"[poll]\nsend = '<STX>R1{check}<CR>'\n[frame]\nstart = '<STX>'\n" + check + "with_start = true\n", "\x02R185\r"},
		{"[poll]\nsend = ':{from}R1{to}:{check}<CR>'\n" + check, ":R1:83\r"},
		{"[poll]\nsend = ':{from}R1:{check}<CR>'\n" + check, ":R1:BD\r"},
		{"[poll]\nstart = 'R1{check}<CR>'\n" + check, "R183\r"},
	} {
		text := "pattern = '{value}{check}'\n" + c.text
		if !strings.Contains(text, "[check]") {
			text = strings.Replace(text, "{check}'\n", "'\n", 1)
		}
		d := mustParse(t, text)
		var got []string
		if len(d.Poll.Start) > 0 {
			got = append(got, string(d.Poll.Start))
		}
		for _, a := range d.Poll.Asks {
			got = append(got, string(a.Send))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s\n sends %q, want %q", c.text, s, c.want)
		}
	}
	for _, c := range []struct{ text, want string }{
		{"[poll]\nsend = 'R{check}'\n", `x.toml:3: poll.send = "R{check}" has {check} but the file has no [check] table`},
		{"[poll]\nsend = 'R{to}1{check}'\n" + check, `has {to} but no {from} before it`},
	} {
		pattern := "pattern = '{value}'\n"
		if strings.Contains(c.text, "[check]") {
			pattern = "pattern = '{value}{check}'\n"
		}
		if _, err := Parse("x.toml", []byte(pattern+c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s says %v, want %s", c.text, err, c.want)
		}
	}
}

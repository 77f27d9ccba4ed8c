package drivers

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

func readForm(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("form.toml.example")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// The form is a driver file that works as it stands.
func TestFormWorks(t *testing.T) {
	d := mustParse(t, readForm(t))
	for _, err := range d.CheckExamples() {
		t.Error(err)
	}
}

// Every key that the form shows exists (each is tried by taking its '#' away),
// and every key that exists is shown.
func TestFormIsComplete(t *testing.T) {
	text := readForm(t)
	off := regexp.MustCompile(`(?m)^# ([a-z_]+ *= )`)
	n := 0
	for _, at := range off.FindAllStringIndex(text, -1) {
		n++
		head := text[:at[0]]
		if h := strings.LastIndex(head, "\n# ["); h > strings.LastIndex(head, "\n[") { // its table is commented out too
			head = head[:h+1] + head[h+3:]
		}
		tried := head + text[at[0]+2:]
		if _, err := Parse("form.toml", []byte(tried)); err != nil && strings.Contains(err.Error(), "not a key") {
			t.Errorf("%v", err)
		}
	}
	if n < 30 {
		t.Fatalf("only %d keys are commented out", n)
	}
	whole := off.ReplaceAllString(text, "$1")
	sections := regexp.MustCompile(`(?m)^(# )?\[\[?([a-z]+)\]?\]`)
	in := map[string]string{}
	last, table := 0, ""
	for _, m := range sections.FindAllStringSubmatchIndex(whole, -1) {
		in[table] += whole[last:m[0]]
		table, last = whole[m[4]:m[5]], m[1]
	}
	in[table] += whole[last:]
	for table, keys := range known {
		for _, k := range keys {
			if _, isTable := in[k]; table == "" && (isTable || k == "pattern" || k == "ignore" || k == "name") {
				if !strings.Contains(whole, k) {
					t.Errorf("%s is not shown", k)
				}
				continue
			}
			if !regexp.MustCompile(`(?m)^` + k + ` *=`).MatchString(in[table]) {
				t.Errorf("key %q of [%s] is not shown", k, table)
			}
		}
	}
	for name := range fieldNames {
		if !strings.Contains(text, "{"+name) {
			t.Errorf("field {%s} is not shown", name)
		}
	}
	for i := range checkKinds {
		if !strings.Contains(text, strings.TrimSuffix(strings.TrimSuffix(checkKinds[i].name, "-complement"), "-negative")) {
			t.Errorf("check kind %s is not shown", checkKinds[i].name)
		}
	}
}

// Every mistake is one line with file, line, what was found and what is
// expected.
func TestMistakes(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", `x.toml: has no pattern; expected pattern = "{value}{unit}" or a [[message]] with one`},
		{"pattern = \"{valu}\"", "x.toml:1: pattern has the unknown field {valu} (did you mean value?); expected one of any, blanks"},
		{"about = 'a'\npatern = '{value}'", "x.toml:2: patern is not a key of a driver file (did you mean pattern?); expected one of"},
		{"pattern = '{value}'\n[frame]\nend = '<CR>'\nlenght = 5", "x.toml:4: frame.lenght is not a key of [frame] (did you mean length?); expected one of start, end, length, count_at, count_as, count_plus, idle, max"},
		{"pattern = '{value}'\n[frame]\nkind = 'sum'", "x.toml:3: frame.kind is not a key of [frame] (it belongs into [check])"},
		{"[[message]]\npattern = '{value}'\n[[message]]\npattern = '{value} {unit}'\nfalt = 'over'", "x.toml:5: message 2, falt is not a key of [message] (did you mean fault?)"},
		{"[[message]]\npattern = '{value}'\n\n[[message]]\npattern = '{value'", "x.toml:5: message 2, pattern has a { without a }; write \\{ for the character"},
		{"pattern = '{value}[{unit}'", "x.toml:1: pattern has a [ without a ]"},
		{"pattern = '{value}]'", "x.toml:1: pattern has a ] without a ["},
		{"pattern = '{value}\\q'", `x.toml:1: pattern "\\q": \q is not known; use \r \n \t \xNN, or a name such as <CR>`},
		{"pattern = '{value:0}'", `has the width "0" in {value:0}; expected 1 to 64 bytes`},
		{"pattern = '{value:b}'", "refers to [number.b], which the file does not have"},
		{"pattern = '{value}{status}'", "has {status} but the file has no [status] table"},
		{"pattern = '{value}{check}'", "has {check} but the file has no [check] table"},
		{"pattern = '{value}'\n[check]\nkind = 'sum'", "x.toml:2: check is never used; write {check} into the pattern"},
		{"pattern = '{value}{check}'\n[check]\nkind = 'crc16-modbos'", `x.toml:3: check.kind = "crc16-modbos" (did you mean crc16-modbus?); expected one of sum, sum-7bit`},
		{"pattern = '{value}'\nline = '9600 8N3'", `x.toml:2: line = "9600 8N3" is no line setting`},
		{"pattern = '{value}'\nsends = 'streams'", `x.toml:2: sends = "streams"; expected stream, change or press`},
		{"pattern = '{value}'\nsilence = '3'", `x.toml:2: silence = "3"; expected a time such as 200ms or 3s`},
		{"pattern = '{value}'\nunit = 'furlong'", `x.toml:2: unit = unknown unit "furlong"`},
		{"pattern = '{value}'\n[units]\n'M' = 'metre'", `x.toml:3: units.M = unknown unit "metre"`},
		{"pattern = '{value}'\n[faults]\n'OL' = 'overr'", `x.toml:3: faults.OL = "overr" (did you mean over?); expected one of over, under`},
		{"pattern = '{value}'\n[number]\npoint = ';'", `x.toml:3: number.point = ";"; expected ".", ",", either or none`},
		{"pattern = '{value}'\n[number]\ndecimal = 3", `x.toml:3: number.decimal is not a key of [number] (did you mean decimals?)`},
		{"pattern = '{value}'\n[frame]\nlength = 10\nend = '<CR>'", "x.toml:3: frame.length together with end: say one of them"},
		{"pattern = '{value}'\n[frame]\nmax = 1000000000", "x.toml:3: frame.max = 1000000000; expected the longest frame in bytes, 1 to 4096"},
		{"pattern = '{value}'\n[frame]\nend = ''", `x.toml:3: frame.end = ""; expected 1 to 16 bytes, such as <CR>`},
		{"pattern = '{value}'\n[frame]\nend = 13", "x.toml:3: frame.end = 13; expected text in quotes, or a list of them"},
		{"pattern = '{value}'\n[frame]\nend = \"\\xB5\"", `x.toml:3: \xB… in double quotes would become two bytes`},
		{"pattern = '{items}'", `pattern has {items} but the line has no item = "…" that says what one looks like`},
		{"[[message]]\npattern = 'READY'", `x.toml:2: message 1, pattern has no {value}; expected one, or fault = "…", or ignore = true`},
		{"pattern = '{value}'\n[poll]\nsend = 'R{channel}<CR>'", `x.toml:3: poll.send has {channel}; expected channels = ["01", …] beside it`},
		{"pattern = '{value}'\n[poll]\nevery = '1s'", `x.toml:2: poll has neither send nor start`},
		{"pattern = '{value}'\n[[example]]\ngives = ['1']", "x.toml:2: example 1, bytes is missing"},
		{"pattern = '{value}'\nchannels = ['a']", "x.toml:2: channels is no table; expected [channels]"},
		{"pattern = '{value}'\nunits = 'mm'", "x.toml:2: units is no table"},
		{"pattern = '{value}'\nframe = 'x'", "x.toml:2: "},
		{"pattern = '{value}'\nmessage = 'x'", "x.toml:2: "},
		{"pattern = '{value}'\npoll = 5", "x.toml:2: "},
		{"pattern = 5", "x.toml:1: "},
		{"pattern = '{value}'\nexample = ['x']", "x.toml:2: "},
		{"pattern = {value}", "x.toml:1: "},
		{"pattern = '{value}'\n[unit]\n'mm' = 'mm'", "x.toml:2: unit is a table, [unit]; expected text in quotes (did you mean [units]?)"},
		{"[message]\npattern = '{value}'", "x.toml:1: message is a table, [message]; expected a repeated table, [[message]]"},
		{"pattern = '{value}'\n[frame]\nend = 'CRLF'", `frame.end = "CRLF" is the letters themselves; write <CR><LF> for the control characters`},
		{"pattern = '{value}'\n[frame]\nstart = 'STX'", `frame.start = "STX" is the letters themselves; write <STX>`},
		{"pattern = '{value}<STXX>'", `pattern "<STXX>" is no control character (did you mean <STX>?); write \< for the character itself`},
		{"pattern = '{value}<cr>'", `did you mean <CR>?`},
		{"pattern = '{value}'\n[units]\nmm = mm", "x.toml:3: expected value but found"},
		{"pattern = '{value}'\n[units]\n\"\" = 'mm'", `x.toml:3: units."" is an empty word; expected what the gauge sends`},
		{"pattern = '{value}'\n[number]\ndecimals = '3'", `x.toml:3: number.decimals = "3"; expected how many places a number without a point has`},
		{"pattern = '{value}'\n[number]\nbase = 256", `x.toml:1: pattern has {value} without a width, but [number] says base = 256: write {value:2} for two bytes`},
		{"pattern = '{value}'\n[number]\nlow_first = true", `x.toml:3: number.low_first needs base = 16, 256 or "bcd"`},
		{"pattern = '{value}'\n[number]\ngroup = '.'", `x.toml:3: number.group = "." is the decimal point, too`},
		{"pattern = '{value}'\n[number]\nsixties = 2", `x.toml:3: number.sixties = 2 makes one number of all parts, counted in arcsec: write unit = "arcsec"`},
		{"pattern = '{from}{value}'", "x.toml:1: pattern has {from} or {to} but no {check}"},
		{"pattern = '{value}'\n[frame]\ncount_at = 2", "x.toml:3: frame.count_at needs start"},
		{"pattern = '{value}'\n[frame]\ncount_plus = 2", "x.toml:3: frame.count_plus needs count_at"},
		{"pattern = '{value}{check}'\n[check]\nkind = 'sum'\nmask = 0x1FF", "x.toml:4: check.mask = 511; expected 0 to 0xFF for sum"},
		{"pattern = '{value}{places}'\n[places]\na = '19'", `x.toml:3: places.a = "19"; expected how many decimals the number then has`},
		{"pattern = '{value}'\npattern = '{value}'", "x.toml:2: "},
	} {
		d, err := Parse("x.toml", []byte(c.text))
		if err == nil {
			t.Errorf("%q was taken (%v)", c.text, d.Name)
			continue
		}
		if s := err.Error(); !strings.Contains(s, c.want) || strings.Contains(s, "\n") {
			t.Errorf("%q\n says   %s\n wanted %s", c.text, s, c.want)
		}
	}
}

// Some editors put a byte order mark in front of UTF-8.
func TestByteOrderMark(t *testing.T) {
	text := "\ufeffpattern = '{value}'\r\n[[example]]\r\nbytes = '1.5<CR>'\r\ngives = ['1.5']\r\n"
	d := mustParse(t, text)
	if errs := d.CheckExamples(); len(errs) > 0 || string(d.Text) != text {
		t.Errorf("%v, text %q", errs, d.Text)
	}
}

// An example that does not give what it says names file, line and both.
func TestExampleMistakes(t *testing.T) {
	d := mustParse(t, "pattern = '{value}'\n[[example]]\nbytes = '1.5<CR>'\ngives = ['1.6']\n")
	errs := d.CheckExamples()
	if len(errs) != 1 || errs[0].Error() != "test.toml:2: example 1 gives [1.5]; expected [1.6]" {
		t.Errorf("%v", errs)
	}
	d = mustParse(t, "ignore = ['#{skip}']\n[[message]]\npattern = '{value}'\n[[message]]\npattern = 'MAX{value}MIN{value}'\n[[example]]\nbytes = '#1<CR>MAX 2.5 MIN -0.5<CR>'\ngives = ['1: 2.5', '2: -0.5']\n")
	errs = d.CheckExamples()
	if want := `: pattern 2 fits up to "MAX 2.5", then expects "MIN" and finds " MIN -0.5"`; len(errs) != 1 || !strings.HasSuffix(errs[0].Error(), want) {
		t.Errorf("%v\nwanted …%s", errs, want)
	}
	// Sum of "#+1.234/" by hand: 373, in eight bits 117, and 20 over 97.
	d = mustParse(t, "pattern = '#{value}/{check}'\n[check]\nkind = 'sum'\nmodulo = 97\nas = 'decimal'\n[[example]]\nbytes = '#+1.234/82<CR>'\ngives = ['1.234']\n")
	errs = d.CheckExamples()
	if want := `: the check bytes are "82", and [check] gives "20" over "#+1.234/"`; len(errs) != 1 || !strings.HasSuffix(errs[0].Error(), want) {
		t.Errorf("%v\nwanted …%s", errs, want)
	}
	if errs := mustParse(t, "pattern = '{value}'").CheckExamples(); len(errs) != 1 || !strings.Contains(errs[0].Error(), "no [[example]]") {
		t.Errorf("%v", errs)
	}
}

func TestCatalogue(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(dir+"/"+name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("mine.toml", "about = 'mine'\npattern = 'V{value}'\n")
	write("signed-decimal.toml", "about = 'mine too'\npattern = '{value}'\n")
	write("broken.toml", "pattern = '{value'\n")
	write("same.toml", "name = 'mine'\npattern = '{value}'\n")
	c, errs := Load(dir)
	if len(errs) != 2 || !strings.Contains(errs[0].Error(), "broken.toml:1:") || !strings.Contains(errs[1].Error(), "same.toml") {
		t.Errorf("errors %v", errs)
	}
	if d, err := c.Find("mine"); err != nil || d.About != "mine" {
		t.Errorf("mine: %v %v", d, err)
	}
	if d, err := c.Find("signed-decimal"); err != nil || d.About != "mine too" {
		t.Errorf("a user's own does not win: %v %v", d, err)
	}
	if d, err := c.Find("broken"); err == nil || c.Broken("broken") != err || !strings.Contains(err.Error(), "broken.toml:1:") {
		t.Errorf("broken: %v %v", d, err)
	}
	write("signed-decimal.toml", "pattern = '{value'\n")
	if c, _ := Load(dir); c.Broken("signed-decimal") == nil || c.Broken("mine") != nil {
		t.Errorf("a built-in driver stands in for the user's broken one")
	}
	if _, err := c.Find("signed-decimel"); err == nil || !strings.Contains(err.Error(), "did you mean signed-decimal?") {
		t.Errorf("%v", err)
	}
	if _, errs := Load(dir + "/none"); len(errs) != 1 {
		t.Errorf("%v", errs)
	}
	if n := len(BuiltIn().All()); n < 24 {
		t.Errorf("%d built-in drivers", n)
	}
}

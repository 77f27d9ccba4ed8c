package record_test

import (
	"strings"
	"testing"
)

// The owner's page says what was found, what was done and what it is now, what
// remains, what would decide the undecided, and what to watch.
func TestOwnersWords(t *testing.T) {
	r := axle(t).rec
	var b strings.Builder
	for _, p := range r.InShort() {
		b.WriteString(p.Label + "\n" + strings.Join(p.Lines, "\n") + "\n")
	}
	short := b.String()
	for _, want := range []string{
		"Found\n5 places were measured (as found): one is within its limits, 3 are outside their limits and one could not be decided with the gauge used.\n",
		"Farthest out was left front hub, end play: 0.00890 ± 0.00031 in (0.2261 ± 0.0079 mm), too loose by 0.0049 in, at least 0.0046; that is 2.2 times the permitted end play.\n",
		"Done\nAs found, left front hub: hub washed, races free of pitting.\nRenewed: left swivel pin: both bushes, phosphor bronze; both seals.\n",
		"Left front hub, end play: adjusted from 0.00610 ± 0.00031 in to 0.00255 ± 0.00031 in, assembled.\n",
		"Now\nOf 6 places 4 are within their limits, one is outside its limits and one could not be decided with the gauge used.\nOne of them was measured (as found) and not since.\nFarthest out is left swivel pin, diameter",
	} {
		if !strings.Contains(short, want) {
			t.Errorf("not said: %q in\n%s", want, short)
		}
	}
	remains, watch := strings.Join(r.Remains(), "\n"), strings.Join(r.Watch(), "\n")
	for _, want := range []string{"right lock: 0.0752 ± 0.0094 mm (0.00296 ± 0.00037 in) is not decided", "What would decide it: ", "diameter, upper bush: 27.9465 ± 0.0025 mm (1.100256 ± 0.000098 in), too small by 0.012 mm, at least 0.010. Measured as found, not since."} {
		if !strings.Contains(remains, want) {
			t.Errorf("not among what remains: %q in\n%s", want, remains)
		}
	}
	for _, want := range []string{"Grease every ten hours", "run-out of the rim: good, but close to its upper limit, 0.0090 mm (0.00035 in) from it", "certificate of gauge dial-1 was past due (2026-03-01)"} {
		if !strings.Contains(watch, want) {
			t.Errorf("not among what to watch: %q in\n%s", want, watch)
		}
	}
	if redone := strings.Join(r.Redone(), "\n"); !strings.Contains(redone, "Take 7 (assembled, left swivel pin, play in bushes, left lock, 0.0391 ± 0.0062 mm) was done over as take 12.") {
		t.Errorf("not among what was done over: %s", redone)
	}
}

// Jobs of other shapes are said in plain words too.
func TestOwnersWordsOfSmallJobs(t *testing.T) {
	for name, want := range map[string]string{
		"nothing measured":   "Found|Nothing has been measured yet; one place is to be measured.",
		"a single undecided": "Found|One place was measured: it could not be decided with the gauge used.",
		"one pass":           "Found|One place was measured: it is within its limits.",
		"three stages":       "Done|What was done between the measurements is not noted in this job.",
		"sixty checks":       "Found|60 places were measured: all are within their limits.",
	} {
		var all []string
		for _, p := range scenes[name](t).rec.InShort() {
			all = append(all, p.Label+"|"+strings.Join(p.Lines, " "))
		}
		if got := strings.Join(all, "\n"); strings.Contains(got, "not since") || !strings.Contains(got, want) || strings.Contains(got, "not noted") && name != "three stages" {
			t.Errorf("%s: %s", name, got)
		}
	}
}

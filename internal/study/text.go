package study

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"thouwright/internal/metrology"
)

// names of the sources for people.
var plainNames = map[string]string{
	metrology.SourceRepeat:      "repetition (same person, same part)",
	metrology.SourceInteraction: "people finding parts differently",
	metrology.SourcePeople:      "people",
	metrology.SourceBoth:        "the set-up in all",
	metrology.SourceParts:       "parts",
	metrology.SourceTotal:       "total",
}

func (r *Result) with(v Number) string {
	s := short(float64(v))
	if r.Unit != "" {
		s += " " + r.Unit
	}
	return s
}

func short(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	return fmt.Sprintf("%.4g", v)
}

// Text writes the result for people, the answers first.
func (r *Result) Text(out io.Writer) error {
	b := &strings.Builder{}
	title := r.Source
	if r.What != "" {
		title += ": " + r.What
	}
	trials := "one trial"
	if r.Trials != 1 {
		trials = fmt.Sprintf("%.3g trials", float64(r.Trials))
	}
	fmt.Fprintf(b, "%s\n%s: %s, %s, %s each\n%s\n\n", title, count(r.N, "value", "values"), count(len(r.Parts), "part", "parts"), count(len(r.People), "person", "people"), trials, r.Model)

	if both, ok := r.anova.Get(metrology.SourceBoth); ok {
		fmt.Fprintf(b, "One standard deviation of the set-up: %s", r.with(Number(both.SD)))
		if !math.IsNaN(both.Low) {
			fmt.Fprintf(b, " (%g %% interval %s to %s)", 100*r.anova.Confidence, short(both.Low), short(both.High))
		}
		b.WriteString("\n")
	}
	switch {
	case r.Sizes == nil:
	case *r.Sizes < 2:
		b.WriteString("Sizes it can tell apart: these parts look all alike to it\n")
	default:
		fmt.Fprintf(b, "Sizes it can tell apart among these parts: %d\n", *r.Sizes)
	}
	if !math.IsNaN(float64(r.Limits)) {
		fmt.Fprintf(b, "Six standard deviations take %.0f %% of the limits\n", 100*float64(r.Limits))
	}
	if s := r.Set; s != nil {
		fmt.Fprintf(b, "For the bench file: repeatability %s\n", r.with(s.Value))
	}
	for _, x := range r.Bias {
		word := "no bias shown"
		if x.Shown {
			word = "biased"
		}
		known := strings.TrimSpace(strconv.FormatFloat(float64(x.Known), 'g', 12, 64) + " " + r.Unit)
		fmt.Fprintf(b, "Part %s, known %s: mean %s, off by %s plus or minus %s: %s\n", x.Part, known, x.mean(), short(float64(x.Bias)), short(float64(x.U95)), word)
	}
	if s := r.Slope; s != nil {
		word := "not shown to change with size"
		if s.Shown {
			word = "changes with size"
		}
		fmt.Fprintf(b, "The bias %s: %s per unit, plus or minus %s\n", word, short(float64(s.PerUnit)), short(float64(s.U95)))
	}
	r.stableText(b)

	b.WriteString("\n")
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "share\tstandard deviation\t%g %% interval\tof total\t\n", 100*r.anova.Confidence)
	for _, s := range r.Shares {
		interval, of := "", ""
		if !math.IsNaN(float64(s.Low)) {
			interval = short(float64(s.Low)) + " to " + short(float64(s.High))
		}
		if !math.IsNaN(float64(s.OfTotal)) {
			of = fmt.Sprintf("%.1f %%", 100*float64(s.OfTotal))
		}
		zero := ""
		if s.Zeroed {
			zero = "set to zero"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", plainNames[s.Name], short(float64(s.SD)), interval, of, zero)
	}
	fmt.Fprintf(w, "\t\t\t\t\nanalysis of variance\tsum of squares\tdegrees of freedom\tmean square\tF (p)\n")
	for _, s := range r.Table {
		f := ""
		if !math.IsNaN(float64(s.F)) {
			f = fmt.Sprintf("%.4g (%.3g)", float64(s.F), float64(s.P))
		}
		fmt.Fprintf(w, "%s\t%.6g\t%d\t%.6g\t%s\n", s.Source, float64(s.SS), s.Dof, float64(s.MS), f)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for i, n := range r.Notes {
		if i == 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(b, "Note: %s\n", n)
	}
	text := strings.ReplaceAll(b.String(), " \n", "\n")
	for strings.Contains(text, " \n") {
		text = strings.ReplaceAll(text, " \n", "\n")
	}
	_, err := io.WriteString(out, text)
	return err
}

// mean is the part's mean to a tenth of what it is uncertain by: a size of some 30
// mm and a bias of a micrometre both show.
func (x Bias) mean() string {
	u := float64(x.U95)
	if !(u > 0) {
		u = math.Abs(float64(x.Bias))
	}
	if !(u > 0) || math.IsInf(u, 0) {
		return strconv.FormatFloat(float64(x.Mean), 'g', 12, 64)
	}
	places := min(max(1-int(math.Floor(math.Log10(u))), 0), 12)
	return strconv.FormatFloat(float64(x.Mean), 'f', places, 64)
}

func (r *Result) stableText(b *strings.Builder) {
	s := r.Stable
	if s == nil {
		return
	}
	switch {
	case math.IsNaN(float64(s.Drift)):
	case s.Shown:
		fmt.Fprintf(b, "It drifted by %s plus or minus %s in the course of the study\n", r.with(s.Drift), short(float64(s.U95)))
	default:
		fmt.Fprintf(b, "No drift shown: %s plus or minus %s in the course of the study\n", r.with(s.Drift), short(float64(s.U95)))
	}
	if float64(s.R1) > float64(s.Limit) {
		fmt.Fprintf(b, "Neighbouring values resemble each other (%.2f): something changed slowly while you measured\n", float64(s.R1))
	}
	if len(s.Outside) > 0 {
		fmt.Fprintf(b, "Far out, worth a look: %v\n", s.Outside)
	}
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// BenchText is the set-up's figure as a bench file wants it:
// '0.0002 in'.
func (r *Result) BenchText() (string, error) {
	if r.unit.String() == "" {
		return "", fmt.Errorf("%s: no unit; say --unit mm (or in, um, thou)", r.Source)
	}
	if r.Set == nil {
		return "", fmt.Errorf("%s: no repeatability was found", r.Source)
	}
	if v := float64(r.Set.Value); v > 0 {
		_, u := metrology.RoundByUncertainty(v, v)
		return u + " " + r.unit.String(), nil
	}
	return "0 " + r.unit.String(), nil
}

package metrology

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// publishedCells is the published study of 10 parts, 3 people and 3 trials.
func publishedCells(t *testing.T) Cells {
	f, err := os.Open("../../testdata/reference/repeatability/study_10x3x3.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table := csv.NewReader(f)
	table.Comment = '#'
	rows, err := table.ReadAll()
	if err != nil || strings.Join(rows[0], ",") != "operator,trial,part,value" || len(rows) != 91 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	var ds []quantity.Decimal
	for _, r := range rows[1:] {
		d, err := quantity.ParseDecimal(r[3])
		if err != nil {
			t.Fatal(err)
		}
		ds = append(ds, d)
	}
	_, v := FromFirst(ds)
	cells := make(Cells, 10)
	for i, r := range rows[1:] {
		part, person := int(number(t, r[2], 0))-1, int(r[0][0]-'A')
		if trial := int(number(t, r[1], 0)); trial != i/10%3+1 {
			t.Fatalf("row %v: expected trial %d", r, i/10%3+1)
		}
		for len(cells[part]) <= person {
			cells[part] = append(cells[part], nil)
		}
		cells[part][person] = append(cells[part][person], v[i])
	}
	return cells
}

func TestPublishedStudy(t *testing.T) {
	cells := publishedCells(t)
	auto, err := Crossed(cells, PoolAuto, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if !auto.Pooled || !auto.Balanced || auto.N != 90 {
		t.Errorf("pooled %v, balanced %v, n %d", auto.Pooled, auto.Balanced, auto.N)
	}
	kept, err := Crossed(cells, PoolNo, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	value := map[string]float64{}
	for model, a := range map[string]Anova{"pooled": auto, "kept": kept} {
		for _, c := range a.Components {
			value[model+"/"+c.Name] = c.SD
			if !math.IsNaN(c.Low) && !(c.Low <= c.SD && c.SD <= c.High) {
				t.Errorf("%s %s: %v outside %v..%v", model, c.Name, c.SD, c.Low, c.High)
			}
		}
		value[model+"/distinct"] = float64(a.Distinct)
		value[model+"/share"] = value[model+"/"+SourceBoth] / value[model+"/"+SourceTotal]
	}
	for _, s := range kept.Table {
		value["table/"+s.Name+".SS"], value["table/"+s.Name+".F"], value["table/"+s.Name+".P"] = s.SS, s.F, s.P
	}
	n := 0
	for _, r := range readTable(t, "repeatability/expected.csv") {
		got, ok := value[r["model"]+"/"+r["quantity"]]
		if !ok {
			t.Errorf("nothing called %s/%s", r["model"], r["quantity"])
		}
		near(t, r["model"]+" "+r["quantity"]+" ("+r["source"]+")", got, number(t, r["expected"], 0), number(t, r["tolerance"], 0))
		n++
	}
	if n < 19 {
		t.Errorf("only %d rows", n)
	}
	c, _ := kept.Get(SourceInteraction)
	if !c.Zeroed || c.SD != 0 || !(c.Estimate < 0) {
		t.Errorf("the negative interaction: %+v", c)
	}
}

// simulate draws a study from known components.
func simulate(r *rand.Rand, parts, people, trials int, sPart, sPerson, sInter, sRepeat float64) Cells {
	person := make([]float64, people)
	for j := range person {
		person[j] = sPerson * r.NormFloat64()
	}
	cells := make(Cells, parts)
	for i := range cells {
		p := sPart * r.NormFloat64()
		cells[i] = make([][]float64, people)
		for j := range cells[i] {
			in := sInter * r.NormFloat64()
			for range trials {
				cells[i][j] = append(cells[i][j], p+person[j]+in+sRepeat*r.NormFloat64())
			}
		}
	}
	return cells
}

// The components find the truth on average, and the 95 % intervals hold it.
func TestComponentsBySimulation(t *testing.T) {
	r := rand.New(rand.NewPCG(22514, 7))
	truth := map[string]float64{SourceRepeat: 1, SourceInteraction: 0.7, SourcePeople: 0.8, SourceParts: 3,
		SourceBoth: math.Sqrt(1 + 0.49 + 0.64)}
	hits, sums := map[string]int{}, map[string]float64{}
	const n = 2500
	for range n {
		a, err := Crossed(simulate(r, 10, 4, 3, 3, 0.8, 0.7, 1), PoolNo, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for name, want := range truth {
			c, ok := a.Get(name)
			if !ok {
				t.Fatalf("no %s", name)
			}
			sums[name] += c.Estimate
			if c.Low <= want && want <= c.High {
				hits[name]++
			}
		}
	}
	for name, want := range truth {
		near(t, name+": mean variance", sums[name]/n/(want*want), 1, 0.06)
		if cover := float64(hits[name]) / n; cover < 0.94 || cover > 0.975 {
			t.Errorf("%s: the 95 %% interval holds the truth in %.3f", name, cover)
		}
	}
}

func TestSmallStudies(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	// One person: parts and repeatability. One part: people and repeatability.
	// One of each: repeatability alone.
	for _, c := range []struct {
		parts, people, trials int
		names                 string
	}{
		{5, 1, 4, "repeatability set-up parts total"},
		{1, 3, 4, "repeatability people set-up"},
		{1, 1, 8, "repeatability set-up"},
		{6, 3, 1, "repeatability people set-up parts total"},
	} {
		a, err := Crossed(simulate(r, c.parts, c.people, c.trials, 3, 1, 0, 1), PoolAuto, 0.95)
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		var names []string
		for _, k := range a.Components {
			names = append(names, k.Name)
		}
		if got := strings.Join(names, " "); got != c.names {
			t.Errorf("%d x %d x %d: %q, want %q", c.parts, c.people, c.trials, got, c.names)
		}
	}
	for _, c := range []struct {
		cells Cells
		want  string
	}{
		{Cells{{{1}}}, "one value alone"},
		{Cells{{{1}}, {{2}}, {{3}}}, "at least one repeated trial"},
		{Cells{{{1, 2}, {1}}, {{2, 1}, {}}}, "part 2, person 2: no value"},
		{nil, "no values"},
	} {
		if _, err := Crossed(c.cells, PoolAuto, 0.95); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.cells, err, c.want)
		}
	}
	// A trial lost: close to the full study, and said.
	cells := publishedCells(t)
	full, _ := Crossed(cells, PoolAuto, 0.95)
	cells[4][1] = cells[4][1][:2]
	short, err := Crossed(cells, PoolAuto, 0.95)
	if err != nil || short.Balanced {
		t.Fatalf("balanced %v, %v", short.Balanced, err)
	}
	for i, c := range short.Components {
		near(t, c.Name+" with a trial lost", c.SD/full.Components[i].SD, 1, 0.05)
	}
}

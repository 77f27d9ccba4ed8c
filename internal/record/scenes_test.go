package record_test

import (
	"fmt"
	"strings"
	"testing"

	"thouwright/internal/ledger"
)

const onePlay = `number = "N-1"
machine = "Tarnbeck T28"
[[component]]
name = "left swivel pin"
[[component.check]]
name = "play in bushes"
method = "play"
gauge = "dial-1"
limits = "0.020..0.150 mm"
`

// scenes are jobs of every shape that must look right.
var scenes = map[string]func(testing.TB) *scene{
	"axle": axle,
	"nothing measured": func(t testing.TB) *scene {
		return newScene(t, sceneBench, onePlay).end()
	},
	"a single undecided": func(t testing.TB) *scene {
		s := newScene(t, sceneBench, onePlay)
		s.measure("", 0, 0, 0, 0.1472, 0.004, 60)
		return s.end()
	},
	"one pass": func(t testing.TB) *scene {
		s := newScene(t, sceneBench, onePlay)
		s.measure("", 0, 0, 0, 0.0772, 0.004, 60)
		return s.end()
	},
	"no sheet": func(t testing.TB) *scene {
		s := newSceneOf(t, sceneBench, strings.NewReplacer("N-1", "loose", "left swivel pin", "loose part, dial-1", "limits = \"0.020..0.150 mm\"\n", "").Replace(onePlay), nil)
		s.measure("", 0, 0, 0, 0.0047, 0.0003, 60, func(t *ledger.Take) { t.Sheet = 0 })
		return s.end()
	},
	"three stages": func(t testing.TB) *scene {
		s := newScene(t, sceneBench, strings.Replace(onePlay, "[[component]]", "stages = [\"as found\", \"machined\", \"assembled\"]\n[[component]]", 1))
		for i, stage := range []string{"as found", "machined", "assembled"} {
			s.measure(stage, 0, 0, 0, 0.22-0.08*float64(i), 0.003, 60)
		}
		return s.end()
	},
	"long names": func(t testing.TB) *scene {
		long := strings.Repeat("left hand upper swivel pin of the second front axle ", 4)
		unbroken := strings.Repeat("Schwenkbolzenlagerbuchse", 6)
		s := newScene(t, sceneBench, fmt.Sprintf(`number = "N-%s"
customer = '%s'
machine = '%s'
assembly = '%s'
operator = '%s'
[[component]]
name = '%s'
[[component.check]]
name = '%s'
method = "play"
gauge = "dial-1"
positions = ['%s', '%sB']
limits = "0.020..0.150 mm"
source = '%s'
[[note]]
text = '%s'
`, strings.Repeat("7", 62), long, unbroken, long, unbroken, long, unbroken, long, unbroken, long, long+unbroken+long))
		s.measure("", 0, 0, 0, 0.2172, 0.003, 60)
		s.measure("", 0, 0, 1, 0.1472, 0.003, 60)
		return s.end()
	},
	"hostile": func(t testing.TB) *scene {
		s := newScene(t, sceneBench, strings.NewReplacer("Tarnbeck T28", `<script>alert(1)</script>&lt;`, "left swivel pin", "=1+1 ]]>\u202e<img src=x onload=alert(2)>", `"play in bushes"`, `'@SUM(A1) "q" </style>'`,
			"limits", "positions = ['</svg><script>alert(3)</script>', \"' onload=alert(4) x='\"]\nlimits").Replace(onePlay))
		s.measure("", 0, 0, 0, 0.0472, 0.0003, 60)
		s.measure("", 0, 0, 1, 0.2172, 0.0003, 60)
		s.event(ledger.EvNote, ledger.NoteText(ledger.Tag{}, `<svg onload=alert(5)> -1+cmd|x`, "photos/<b>.jpg", ""))
		return s.end()
	},
	"sixty checks": sixty,
}

func sixty(t testing.TB) *scene { return sixtyOf(t, 1000) }

// sixtyOf is a job of sixty checks with so many readings each.
func sixtyOf(t testing.TB, readings int) *scene {
	var b strings.Builder
	b.WriteString("number = \"N-60\"\nmachine = \"Tarnbeck T28\"\noperator = \"R. Aske\"\n")
	for i := range 12 {
		fmt.Fprintf(&b, "[[component]]\nname = \"shaft %d\"\n", i+1)
		for k := range 5 {
			fmt.Fprintf(&b, "[[component.check]]\nname = \"play %d\"\nmethod = \"play\"\ngauge = \"dial-1\"\nlimits = \"0.020..0.%d00 mm\"\n", k+1, k+1)
		}
	}
	s := newScene(t, sceneBench, b.String())
	for i := range 12 {
		for k := range 5 {
			s.measure("", i, k, 0, 0.031*float64(k+1)+0.004*float64(i), 0.002, readings)
		}
	}
	return s.end()
}

package ledger

import "strconv"

// Live is the state the page shows: the JSON of GET /api/state and of the
// 'state' event. Numbers that come from the logs are strings in the logs' own
// notation; an empty string is 'none'.
type Live struct {
	Time      string      `json:"time"`       // wall time of this state
	Elapsed   string      `json:"elapsed_s"`  //
	LoggedSeq uint64      `json:"logged_seq"` // readings up to this one are synced
	Unit      string      `json:"unit"`       // the display unit: mm um in thou
	Job       *LiveJob    `json:"job"`        // nil: no job, takes are 'loose'
	Stage     string      `json:"stage"`
	Active    *LiveActive `json:"active"` // nil where nothing can be measured
	Gauges    []LiveGauge `json:"gauges"`
	Checks    []LiveCheck `json:"checks"`
	LastTake  *LiveTake   `json:"last_take"`
	Problems  []Problem   `json:"problems"` // broken files, disk trouble; empty when all is well
	Sound     LiveSound   `json:"sound"`
	Jobs      []LiveName  `json:"jobs"` // what the job folder offers
	Spoken    LiveSpoken  `json:"spoken"`

	Suggest []LiveSuggestion `json:"suggest"` // the sums that failed takes of this stage ask for
}

// LiveSuggestion is a next step: its words, and the sum it comes from with what
// is known filled in, as the sum's form takes it.
type LiveSuggestion struct {
	Component string              `json:"component"`
	Check     string              `json:"check"`
	Position  string              `json:"position"` // several: 'left lock and right lock'
	Text      string              `json:"text"`
	Verb      string              `json:"verb"`
	Unit      string              `json:"unit"`
	Inputs    map[string][]string `json:"inputs"`
}

// LiveSpoken is what was said last, for screens with a voice of their own: a
// screen speaks when N has grown since it last looked.
type LiveSpoken struct {
	N    uint64 `json:"n"`
	Text string `json:"text"`
}

// LiveName is a job that could be chosen.
type LiveName struct {
	Number  string `json:"number"`
	Machine string `json:"machine"`
}

// LiveJob is the active job's head.
type LiveJob struct {
	Number   string   `json:"number"`
	Customer string   `json:"customer"`
	Machine  string   `json:"machine"`
	Assembly string   `json:"assembly"`
	Operator string   `json:"operator"`
	Stages   []string `json:"stages"`
	Sheet    int      `json:"sheet"` // version
	Done     int      `json:"done"`  // positions with an accepted take, this stage
	Total    int      `json:"total"`
}

// LiveActive is the check in progress.
type LiveActive struct {
	Component  string   `json:"component"`
	Check      string   `json:"check"`
	Position   string   `json:"position"`
	Method     string   `json:"method"`
	Gauge      string   `json:"gauge"`
	Minus      string   `json:"minus"`
	Unit       string   `json:"unit"` // of the limits, result and rests
	Low        string   `json:"low"`
	High       string   `json:"high"`
	Source     string   `json:"source"`
	Condition  string   `json:"condition"`
	Phase      string   `json:"phase"` // see the Phase constants
	Say        string   `json:"say"`   // one line for the person: what to do now
	Strokes    int      `json:"strokes"`
	Wanted     int      `json:"wanted"`
	Most       int      `json:"most"`
	LeftOut    int      `json:"left_out"`
	Reason     string   `json:"reason"`     // of the last stroke left out, or of a caution
	Result     string   `json:"result"`     // so far; empty until there is one
	U95        string   `json:"u95"`        //
	Minus1     string   `json:"level_low"`  // mean of the low stop's rests, as the gauge reads, in Unit
	Plus1      string   `json:"level_high"` // mean of the high stop's rests
	Zone       string   `json:"zone"`       // 'what can this gauge decide', one line
	Steps      []string `json:"steps"`      // procedure
	StepNow    int      `json:"step_now"`   // index into Steps
	Guide      *Guide   `json:"guide"`      // while adjusting
	Next       string   `json:"next"`       // what comes after this position
	Cautions   []string `json:"cautions"`
	Adjustable bool     `json:"adjustable"`
}

// The phases of a check in progress.
const (
	PhaseWaiting   = "waiting"   // announced, not yet open: move the gauge
	PhaseReady     = "ready"     // open, nothing counted yet
	PhaseMeasuring = "measuring" // strokes are being counted
	PhaseAdjusting = "adjusting" // end play or drag: turning the adjuster
	PhaseDone      = "done"      // every position of the job is measured
)

// Guide says where the present play lies while an adjuster is turned.
type Guide struct {
	Where string  `json:"where"` // below, in, above
	Ratio float64 `json:"ratio"` // distance from the band's middle in half-bands: 0 middle, 1 edge
	Way   string  `json:"way"`   // tighten, slacken, hold, lock
	Turn  string  `json:"turn"`  // '20 deg' or 'one slot', empty where no pitch is known
	Sure  bool    `json:"sure"`  // in the band with the asked confidence
	Now   string  `json:"now"`   // what is set, in words, where it is worked out from what is measured
}

// LiveGauge is one gauge's state.
type LiveGauge struct {
	Name    string `json:"name"`
	Port    string `json:"port"`
	Driver  string `json:"driver"`
	Link    string `json:"link"`    // up, waiting, lost, silent, held, denied, bad
	Message string `json:"message"` // plain words and what to do; empty when up
	Sends   string `json:"sends"`
	Value   string `json:"value"`
	ReadIn  string `json:"unit"`
	MM      string `json:"mm"`
	Fault   string `json:"fault"`
	Motion  string `json:"state"`
	Seq     uint64 `json:"seq"`
	Elapsed string `json:"elapsed_s"` // of the last reading
	Step    string `json:"step"`
	Rate    string `json:"rate"` // readings per second
	Good    uint64 `json:"good"`
	Bad     uint64 `json:"bad"`     // frames that did not fit
	BadRaw  string `json:"bad_raw"` // the last of them, escaped
	Raw     string `json:"raw"`     // the last good one, escaped
	Due     string `json:"due"`
	Overdue bool   `json:"overdue"`
}

// LiveCheck is one check of the job with its positions.
type LiveCheck struct {
	Component string         `json:"component"`
	Check     string         `json:"check"`
	ID        string         `json:"id"`
	Method    string         `json:"method"`
	Unit      string         `json:"unit"`
	Low       string         `json:"low"`
	High      string         `json:"high"`
	Positions []LivePosition `json:"positions"`
}

// LivePosition is one position of a check: its takes, newest last.
type LivePosition struct {
	Position string     `json:"position"`
	Verdict  string     `json:"verdict"`
	Takes    []LiveTake `json:"takes"`
}

// LiveTake is a take by the columns of takes.csv, plus words for people. It
// marshals as one flat object.
type LiveTake map[string]string

// Problem is a mistake in a file, or trouble that needs a person.
type Problem struct {
	File    string `json:"file"`
	Line    int    `json:"line"` // 0: of the file as a whole
	Text    string `json:"text"`
	Warning bool   `json:"warning"` // to be known, but nothing is refused for it
}

// String is the problem in one line: file, line, what and what to do.
func (p Problem) String() string {
	where := p.File
	if p.Line > 0 {
		where += ":" + strconv.Itoa(p.Line)
	}
	if where != "" {
		where += ": "
	}
	if p.Warning {
		where += "warning: "
	}
	return where + p.Text
}

// LiveSound is the sound's settings as in force.
type LiveSound struct {
	Output string          `json:"output"`
	Volume float64         `json:"volume"`
	Mute   bool            `json:"mute"`
	Speech bool            `json:"speech"`
	Voice  bool            `json:"voice"` // a program that speaks is installed
	Cues   map[string]bool `json:"cues"`
}

// LiveTakeOf is a take by its columns, with the words for people beside them.
func LiveTakeOf(t *Take) LiveTake {
	m := LiveTake(TakeFields(t))
	m["say"] = t.Say
	m["sound"] = t.Sound
	if by := t.Settles(); by != "" {
		m["settles"] = by
	}
	if t.Bound {
		m["bound"] = "1"
	}
	return m
}

package ledger

// Command is everything a person can do to the daemon: from the page, a pedal,
// a key, a gauge's button or an edited sheet. commands.tape holds the same, so
// a replay does what the person did.
type Command struct {
	Do        string `json:"do"` // see the Do constants
	Job       string `json:"job,omitempty"`
	Stage     string `json:"stage,omitempty"`
	Component string `json:"component,omitempty"`
	Check     string `json:"check,omitempty"` // a check's name (or id)
	Position  string `json:"position,omitempty"`
	Take      uint64 `json:"take,omitempty"`      // redo: the take to be replaced; 0 is the last
	Text      string `json:"text,omitempty"`      // note: its words; unit: the display unit
	Photo     string `json:"photo,omitempty"`     // note: a photograph in the job's folder
	PhotoSum  string `json:"photo_sum,omitempty"` // its SHA-256, which the daemon adds
	Sheet     string `json:"sheet,omitempty"`     // the text of an edited job sheet
	Bench     string `json:"bench,omitempty"`     // the text of an edited bench file
	Gauge     string `json:"gauge,omitempty"`     // link: whose port
	By        string `json:"by,omitempty"`        // page, switch, key, button, file
	// Drivers are the texts of the drivers that an edited bench file uses, by name.
	Drivers map[string]string `json:"drivers,omitempty"`
	// State is what a port that was open when the tape began was in the middle of.
	State string `json:"state,omitempty"`
	// Sound settings; nil leaves them.
	Volume *float64        `json:"volume,omitempty"`
	Mute   *bool           `json:"mute,omitempty"`
	Speech *bool           `json:"speech,omitempty"`
	Cues   map[string]bool `json:"cues,omitempty"`
}

// The commands. The first ten are the page's POST /api/ names.
const (
	DoJob      = "job"      // make a job active
	DoStage    = "stage"    // make a stage active
	DoPosition = "position" // make a component, check and position active
	DoAccept   = "accept"   // accept what is there and open the next position
	DoRedo     = "redo"     // measure a take again
	DoBack     = "back"     // to the position before
	DoRestart  = "restart"  // drop the take in progress and start over
	DoNote     = "note"     // keep a finding
	DoUnit     = "unit"     // the display unit
	DoSound    = "sound"    // volume, mute, speech, cues
	DoSheet    = "sheet"    // the job sheet was edited
	DoBench    = "bench"    // the bench file was edited
	DoLock     = "lock"     // end play, drag: the lock is fastened, measure for the verdict
	DoStep     = "step"     // procedure: the next step
	DoAsked    = "asked"    // a poll asked a channel: taped, never sent by a person
	DoLink     = "link"     // a gauge's port came or went ('up', 'lost'): taped, never sent by a person
)

package ledger

// File names one CSV file of a job's folder and its columns, in order. The
// last column of each is its chain.
type File struct {
	Name    string
	Columns []string
}

// The files of a job's folder. Readers and writers share these; nothing else
// spells a column's name.
var (
	ReadingsFile = File{"readings.csv", []string{"seq", "time", "elapsed_s", "stage", "component", "position", "check", "gauge", "raw", "value", "unit", "mm", "state", "chain"}}
	RestsFile    = File{"rests.csv", []string{"take", "rest", "first_seq", "last_seq", "t", "side", "level", "value", "used", "reason", "chain"}}
	TakesFile    = File{"takes.csv", []string{"take", "time", "stage", "component", "position", "check", "method", "gauge", "unit", "result", "u95", "low", "high", "verdict", "side", "p_in", "p_below", "p_above", "dof", "confidence", "strokes", "left_out", "drift_per_min", "first_seq", "last_seq", "replaces", "operator", "sheet", "note", "chain"}}
	BudgetFile   = File{"budget.csv", []string{"take", "part", "value", "unit", "distribution", "divisor", "u", "dof", "chain"}}
	ExtrasFile   = File{"extras.csv", []string{"take", "quantity", "value", "unit", "u95", "chain"}}
	EventsFile   = File{"events.csv", []string{"seq", "time", "kind", "gauge", "text", "chain"}}
)

// Files lists all of them in the order in which they are committed.
var Files = []File{ReadingsFile, RestsFile, BudgetFile, ExtrasFile, TakesFile, EventsFile}

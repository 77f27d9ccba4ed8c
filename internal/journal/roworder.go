package journal

import (
	"fmt"

	"thouwright/internal/ledger"
)

// rowOrder checks that rows can be read and come in order.
type rowOrder struct {
	file   ledger.File
	last   uint64
	some   bool
	fields []string

	readings ledger.ReadingParser
}

func (o *rowOrder) check(payload []byte) (err error) {
	if o.file.Name == ledger.ReadingsFile.Name {
		r, err := o.readings.Parse(payload)
		if err != nil {
			return err
		}
		return o.next(r.Seq, true)
	}
	if o.fields, err = ledger.SplitRow(payload, o.fields); err != nil {
		return err
	}
	var n uint64
	strict := false
	switch o.file.Name {
	case ledger.TakesFile.Name:
		var t ledger.Take
		t, err = ledger.ParseTake(o.fields)
		n, strict = t.Take, true
	case ledger.RestsFile.Name:
		var r ledger.Rest
		r, err = ledger.ParseRest(o.fields)
		n = r.Take
	case ledger.BudgetFile.Name:
		n, _, err = ledger.ParseBudget(o.fields)
	case ledger.ExtrasFile.Name:
		n, _, err = ledger.ParseExtra(o.fields)
	case ledger.EventsFile.Name:
		_, err = ledger.ParseEvent(o.fields)
		return err
	}
	if err != nil {
		return err
	}
	return o.next(n, strict)
}

// next checks a row's number against the one before; strict ones are unique.
func (o *rowOrder) next(n uint64, strict bool) error {
	if o.some && (n < o.last || strict && n == o.last) {
		return fmt.Errorf("%s %d comes behind %d: out of order", o.file.Columns[0], n, o.last)
	}
	o.last, o.some = n, true
	return nil
}

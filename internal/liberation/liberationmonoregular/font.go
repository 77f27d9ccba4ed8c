// Package liberationmonoregular stands in for a face that no page of this program
// shows: it gives the regular sans-serif one.
package liberationmonoregular

import "codeberg.org/go-fonts/liberation/liberationsansregular"

// TTF is the regular sans-serif face.
var TTF = liberationsansregular.TTF

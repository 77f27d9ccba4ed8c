// Package liberationmonobolditalic stands in for a face that no page of this program
// shows: it gives the bold sans-serif one.
package liberationmonobolditalic

import "codeberg.org/go-fonts/liberation/liberationsansbold"

// TTF is the bold sans-serif face.
var TTF = liberationsansbold.TTF

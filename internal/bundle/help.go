package bundle

import (
	_ "embed"
	"strconv"
	"strings"
)

//go:embed how-to-check.txt
var helpText string

//go:embed how-to-check-signature.txt
var helpSigned string

// help is what a bundle says to somebody who has only the bundle.
func help(number string, signed bool) []byte {
	s := helpText
	if signed {
		s += "\n" + helpSigned
	}
	return []byte(strings.NewReplacer("NUMBER", number, "SEAL", strconv.Itoa(sealLen)).Replace(s))
}

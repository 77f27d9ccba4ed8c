package form

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// ReadFile reads a whole file that a person filled in; what names its kind. At
// most MaxBytes and one are read, so that whoever parses it says that it is too
// large. The error says what to do; it does not repeat the file's name.
func ReadFile(file, what string) ([]byte, error) {
	// Looked at before it is opened: opening a pipe would wait for a writer.
	st, err := os.Stat(file)
	if err == nil && !st.Mode().IsRegular() {
		return nil, fmt.Errorf("found %s, expected a %s: name a plain file", kindOf(st), what)
	}
	var text []byte
	if err == nil {
		var f *os.File
		if f, err = os.Open(file); err == nil {
			defer f.Close()
			text, err = io.ReadAll(io.LimitReader(f, MaxBytes+1))
		}
	}
	switch {
	case err == nil:
		return text, nil
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("there is no such %s: check the path", what)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("the %s may not be read: make it readable for you (chmod u+r)", what)
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return nil, fmt.Errorf("the %s can't be read: %v", what, err)
}

func kindOf(st fs.FileInfo) string {
	if st.IsDir() {
		return "a folder"
	}
	return "no plain file (" + st.Mode().Type().String() + ")"
}

package config

import (
	"fmt"
	"path/filepath"
	"strings"
)

// notes checks the sheet's notes.
func (f *finder) notes(j *Job, stages, components map[string]bool) {
	for i, n := range j.Notes {
		who := fmt.Sprintf("note %d: ", i+1)
		at := func(key string) []any { return []any{"note", i, key} }
		if n.Kind != "" {
			f.oneOf(at("kind"), who, "kind", n.Kind, NoteKinds...)
		}
		if strings.TrimSpace(n.Text) == "" && n.Photo == "" {
			f.missing([]any{"note", i}, "%sneither text nor photo: add text = \"rust at the seal's seat\" or what was seen or done", who)
		}
		if n.Stage != "" && !stages[n.Stage] {
			f.add(at("stage"), "%sstage: %q is none of the job's stages: add it to stages = [\"…\"], or remove the key", who, n.Stage)
		}
		if n.Component != "" && !components[n.Component] {
			f.add(at("component"), "%scomponent: the job has no component %q: use the name of one, or remove the key", who, n.Component)
		}
		if n.Photo != "" && !goodPhoto(n.Photo) {
			f.add(at("photo"), "%sphoto: found %q, expected a picture in the job's folder, such as photos/seal.jpg", who, n.Photo)
		}
	}
}

// goodPhoto tells whether a name is a picture's inside the job's folder.
func goodPhoto(name string) bool {
	file, inside := strings.CutPrefix(name, "photos/")
	switch strings.ToLower(filepath.Ext(file)) {
	case ".jpg", ".jpeg", ".png":
		return inside && !strings.HasPrefix(file, ".") && !strings.ContainsAny(file, `/\:`)
	}
	return false
}

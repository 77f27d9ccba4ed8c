module codeberg.org/go-fonts/liberation

go 1.23.0

module downlead

go 1.26

require (
	github.com/BurntSushi/toml v1.6.0 // indirect
	gonum.org/v1/gonum v0.17.0 // indirect
)

// Package desk is the workbench window: it shows an investigation, lets a person
// change it, and has everything computed in the background. It holds no physics:
// answers come from package diagnose, pictures from package traces.
//
// desk.go is the state and the frame; refresh.go says what has to be computed
// when something changed; the other files are one pane each: top.go, sources.go,
// lineedit.go, picker.go, plots.go, lineview.go, strip.go, cards.go, foot.go; and
// over them browse.go (choosing files), keys.go (commands, their keys and the
// list of them) and notices.go.
//
// The frame loop alone owns the state. Jobs get copies or values that are never
// changed, and their results are taken at the beginning of a frame.
package desk

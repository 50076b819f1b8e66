// Package bench is the room of the window for teaching: a drawn line that faults
// are placed on by hand, and what an instrument at its foot would show, which
// follows each move in both domains.
//
// Setup is the whole of what is on the bench, a value that is never changed
// through its pointers; undo.History keeps its past. A change makes a new Setup,
// is refused where the simulator cannot have it, and starts a job that measures it
// (package simulate), lays it along the line's record (package distance) and, where
// it is asked for, takes it apart into the paths of waves. The faults that the
// engine finds are looked for by a job of their own. Nothing about lines and waves is
// computed here.
//
// The line as it is and the record that sweeps are read by are two things: the
// record's velocity factors can be made wrong, and everything along the line then
// shows what that does.
//
// Places are in metres from the test port along the line as recorded; columns and
// rows in pixels of the panel that they belong to.
package bench

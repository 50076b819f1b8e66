// Package investigation is the document of the workbench: the sweeps and the
// line that somebody looks at, the choices made and the decisions taken, with
// undo, saved as one file. It draws nothing.
//
// # The file
//
// An investigation is a TOML file that people can read and compare line by line:
//
//	schema = "downlead/investigation/2"
//	site, date, instrument, operator, notes       free text
//	[sweep]    file, sha256
//	[earlier]  file, sha256, state                healthy, or before-repair
//	[calibration]  temperature_c, at, sweep_temperature_c, swept_at
//	[calibration.open] [.short] [.load] [.kit]    file, sha256
//	[line]     file, sha256, cables_sha256; or the keys of a line file
//	[choices]  band_hz, every_nth, window, window_parameter, window_terms
//	[[marker]]     at_hz, or at_m
//	[[decision]]   cause, distance_m, state, name, note
//	[found]        within_limit, worst_vswr, worst_at_hz, limit_vswr
//	[[found.fault]] cause, distance_m, sigma_m, extent_m, confidence, place
//
// Only schema must be there. Distances are metres of the line's path from the
// test port, frequencies hertz. Whether somebody reads metres or feet is not in
// it: that belongs to the reader, and two readers would undo each other's change.
//
// The line is named by its file while it is as that file has it: the file is the
// record of the site, and there the next investigation looks for it too.
// cables_sha256 is that of the line written with all its cables, since those of
// the catalogue are not in the file. A line that was changed, is in no file, or
// lies outside the folder, is written in place, whole, so that nothing is lost;
// changed_from then says where it was read.
//
// The findings of the last run are kept in short, without a clock, for a reader
// who does not have the program, and so that a later run can tell where it
// disagrees. They are not read back as findings.
//
// # Paths
//
// Every path is relative, with slashes, and stays within the folder of the file,
// links included. A file from somebody else could otherwise have the program
// read whatever it names: a device, a pipe, another machine's share. So that this
// costs nobody a measurement, Save copies what lies elsewhere into a folder
// beside the file, and a saved investigation can be handed on with its folder.
//
// A file that is missing, or whose SHA-256 is another, is not used: Open tells of
// it and the document keeps its name. What cannot be an investigation at all is
// refused: text that is too long, too many entries, numbers that are none, paths
// that leave the folder, a file that names itself, a folder or a device.
//
// # Versions
//
// The number behind the schema's name grows when an older program would
// misunderstand a newer file; such a program refuses it. Older versions are
// read: 1 had no state of the earlier sweep, which was of the healthy line.
//
// Keys that are not known are kept and written again, with their table or entry.
// Within a line written in place they are refused, as in a line file: a misspelt
// length must not go unnoticed. Comments are written again at the key, the table or
// the entry at which they stood, also in a line written in place, those within
// brackets above the key; where that is no more, at the end of the file.
//
// # Saving
//
// A file is written beside its place, flushed and renamed, so that at any moment
// the old or the new one is there, whole.
package investigation

// Package batch judges many sweeps: it finds the files, judges them on all
// cores, and keeps one row for each in a record that a stopped run goes on
// from. It also watches a folder for new ones. It draws nothing and computes
// nothing about a line: that is package diagnose's.
//
// # The rule for lines
//
// A Judge has one line for all sweeps, or none; then each sweep needs a line file
// beside it: tower7.toml beside tower7.s1p, unless that is a saved investigation, or
// else line.toml in the same folder.
// A line file is read once for all sweeps that need it, until it changes.
//
// # The record
//
// A record is a text of JSON Lines, one Row each, as they are judged. A row is
// written with one call, so that whoever stops the program leaves whole rows; what
// half a row the end of a power supply leaves is dropped by Resume. A sweep is not
// judged again while its path, size and time of change, its line file and the
// settings are those of its row. (Not a hash of its content: to skip a hundred
// thousand sweeps takes seconds so, and reading them takes minutes.)
//
// # Shards
//
// Sharded keeps those of the items whose path, hashed (FNV-1a, 64 bit), falls to
// that shard, and not each n-th: the shards then agree on who does what even
// while files are added or a folder is listed in another order.
//
// # Memory
//
// A run holds a few sweeps per worker, and for every file its path and the
// 40 bytes that tell whether it is done; not the rows.
package batch

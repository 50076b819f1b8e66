// Package report makes the document that goes to somebody who was not there:
// the figures of an investigation and a PDF of its verdict, its findings with
// their uncertainty, the reasons, and what is needed to repeat it. It computes
// nothing about the line but the profiles that are drawn; the findings are those
// of diagnose.Run. The words and quantities that the text report shares with it
// live here too (quantity.go, sort.go).
//
// # How a report is made
//
//	Prepare   investigation → Input: corrected, judged by diagnose.Run
//	PDF       Input → the pages
//	Figures   Input → the same drawings as SVG and PNG, every trace as CSV, and
//	          the findings as JSON
//
// The same Input and Style give the same bytes. A PDF carries the date of the
// investigation where that is written as year-month-day, and no date at all
// otherwise; how long the search took is in none of the files.
//
// # The page
//
// Everything stands on a grid of 8 points with a margin of 48, in two sizes (9
// and 15 points) and two weights of one font, the Go font of the window, which
// is embedded. The colours are those of the window's daylight face on white.
// Plots are vector drawings by gonum/plot. Return loss has 0 dB, the total
// reflection, at the top, as on the screen.
//
// # Names in other scripts
//
// The font has Latin, Greek and Cyrillic letters. Any other letter is printed as
// an empty box (U+25A1), one for each, and a sentence of the report says how
// many there are; the title in the PDF's properties keeps the name as it was
// written. Signs that steer the direction of text are left out, so that they
// cannot turn the order of what stands beside them. Text never runs over an
// edge: it is broken, within a word where there is no blank, and where only one
// row is free its middle gives way to an ellipsis.
//
// # Limits
//
// Figures of more points than a page can show are thinned to the extremes of
// each column.
package report

// Package folder is the channel "folder": documents are laid into a folder that the payer, or a
// transfer program of the shop, empties; answers are taken from its neighbour.
//
// Under the root that the server was given, each payer has the folder that its profile names:
//
//	out/        documents for the payer, under their final names only when they are whole
//	in/         answers; names that begin with a dot or end in .part or .tmp are not whole yet
//	in/done/    answers that were stored
//
// It refuses every name that could lead out of the root, symbolic links included, and never
// overwrites a document with another. It does not make a payer's folder: one that is misspelled in a
// profile would fill where nobody looks.
package folder

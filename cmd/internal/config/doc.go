// Package config turns flags, environment variables and a settings file into
// the options of the stages. It is the only place that reads a settings file.
//
// Order, the first that says something wins: flags, PLANTFRAME_* variables,
// the settings file, the defaults in the code (configs/default.yaml lists
// them with their meaning).
//
// Every field of Settings and of the stages' Options is a setting; its key is
// the field's name in small letters with underscores, below the stage's name:
// track.body_cutoff, variable PLANTFRAME_TRACK_BODY_CUTOFF. A key or variable
// that does not exist is an error that names it.
package config

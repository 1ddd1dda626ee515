// Package store keeps what outlives a run.
//
// Records (Open) are the hitters, their clips, and what was measured and found in
// them: an SQLite file, or a PostgreSQL database when the setting names one, with
// the same statements for both. Results are rows there and files in the output
// folder; losing one does not lose the other.
//
// Disk and Memory keep stage results between runs, so that a second run of the
// same clip with other event or measure settings decodes nothing and runs no
// network. A key is any text, as a rule a hash of everything the bytes depend on;
// the bytes are opaque. Disk keeps them in a folder of the user's cache, Memory
// in the process, None not at all. All three are safe for concurrent use and
// implement pipeline.Artifacts. That cache is never needed: a missing, cut or
// unreadable entry costs time, not a result. Its folder may be deleted at any
// moment.
package store

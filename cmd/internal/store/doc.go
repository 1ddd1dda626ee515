// Package store keeps stage results between runs, so that a second run of the
// same clip with other event or measure settings decodes nothing and runs no
// network.
//
// A key is any text, as a rule a hash of everything the bytes depend on; the
// bytes are opaque. Disk keeps them in a folder of the user's cache, Memory
// in the process, None not at all. All three are safe for concurrent use and
// implement pipeline.Artifacts.
//
// The cache is never needed: a missing, cut or unreadable entry costs time,
// not a result. Folders may be deleted at any moment.
package store

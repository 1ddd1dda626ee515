// Package web is the page of an academy: clips are uploaded, assigned to hitters and
// put into the queue; jobs, results, hitters and comparisons are looked at.
//
//	upload ──> incoming ──> clips by their hash ──> queue ──> results, records
//
// server.go lists all routes with who may use them; what is not in that table does
// not exist. It knows how pages look and who may see them; how a clip is probed,
// ordered, compared and drawn is handed in (Deps).
//
// Who is who: without a password file everybody who reaches the page is an instructor,
// and only this machine does. With one, instructors and viewers log in; a viewer
// changes nothing. A link gives somebody without a password one hitter's results
// until it expires or is revoked.
//
// All pages work without script. What the script adds: uploads that survive a lost
// line and a restart of the server (tus), and progress without reloading.
//
// Texts of people (names, files) are escaped by html/template and never become paths:
// paths are made of hashes, numbers and cleaned names, and opened below a root.
package web

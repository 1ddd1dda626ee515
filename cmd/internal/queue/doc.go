// Package queue keeps jobs: one job is the analysis of one clip with one set of
// settings. Jobs outlive the process, its crash and a power cut.
//
//	Add ──> waiting ──> running ──> done
//	           ▲           ├──> again (back-off) ──> waiting
//	           └───────────┘──> given-up (attempts used up), cancelled
//
// The rows are River's (github.com/riverqueue/river), in a SQLite file or, by
// one setting, in PostgreSQL. What this package adds:
//
//   - a job is done in the same transaction that stores its result, so that
//     neither is there without the other;
//   - a worker has a stable name, held by a lock for as long as it lives: what
//     a dead process of that name left running is put back at the next start,
//     and is given up when its attempts are used up. A clip that kills the
//     process each time cannot do so for ever;
//   - the time limit of a job follows from the length of its clip;
//   - an inbox: which files of a folder were seen, and what became of them.
//
// Times are UTC. All methods are safe for concurrent use and for several
// processes, except that one worker name belongs to one process at a time. A
// SQLite file must lie on a local disk; several machines need PostgreSQL.
package queue

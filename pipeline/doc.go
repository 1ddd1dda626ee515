// Package pipeline analyses one clip: Run calls the stages in order. Start
// reading here.
//
//	file ─ ingest ─> frames ─ pose ──> poses ─ track ─> track ─ bat ─> path ─ event ─> swings ─ lift ─ measure ─ judge ─> findings
//	  │                ├─ camera ─> steady maps ──┘               │                │
//	  │                └─ bat ────> sightings ────────────────────┘                │
//	  └─ sound ─> cracks ───────────────────────────────────────────────────────────┘
//
// What each stage takes and gives:
//
//	ingest   file             -> upright frames with presentation times; the sound on the same clock
//	camera   frames           -> maps that undo the camera's own motion
//	pose     frames           -> the hitter's body points per frame, px; feet by a network of our own
//	bat      frames, poses    -> what single frames show of the bat (Finder), then the bat over time (Path)
//	track    poses, maps      -> repaired, smoothed points over time; every repair is a Warning
//	sound    samples          -> sharp sounds that can be a hit
//	event    track, bat, cracks -> swings with batting side, view and instants, each with its sigma
//	lift     swing              -> turns of shoulders and hips in space, as quantiles over time
//	measure  swing            -> measures with sigma, status and reason
//	judge    measures, targets -> findings: status, severity, priority, words
//	fuse     two swings       -> one swing seen from two sides: one clock, the body in space (Fuse, called by the command)
//	compare  two swings       -> differences on one clock (called by the command, not by Run)
//	output   analysis         -> analysis.json, measures.csv (called by the command, not by Run)
//	render   frames, analysis -> overlay.mp4, stills, side-by-side.mp4 (called by the command, not by Run)
//
// Rules of the house, enforced by imports_test.go: stages import the
// vocabulary (package swing) and tools (signal, pixel, spot), never each
// other; C libraries are reached only from ingest, camera, output/render
// (OpenCV) and models (ONNX Runtime); settings files and services live under
// cmd.
//
// Every stage boundary is an artifact: its key is the hash of the previous
// key, the stage's name and version and its options, network checksums
// included. Running again with other targets or another event option decodes
// nothing and runs no network.
package pipeline

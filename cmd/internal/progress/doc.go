// Package progress tells from the stored history of a hitter whether a checkpoint
// changed, and from all histories who needs what.
//
// Input are the clips of a hitter in the order in which they were filmed
// (store.History), output swing.Trend per checkpoint, view and batting side, and
// one Row per hitter. Pure arithmetic; nothing fails.
//
// A day's value is the mean of its swings. Its variance is that of the measurement
// plus that from swing to swing divided by their number. The measurement's is not
// divided: the same camera in the same place errs the same way in every swing of
// the day. The spread from swing to swing is taken within days, over all days, and
// drawn toward an assumed one while there are few swings; see Options.
package progress

// Command plantframe finds the plant in clips of a hitter's swing and measures
// the body there.
//
// main.go knows signals and exit codes, root.go the subcommands, one file each
// for what they do; wire.go is the one place that names concrete things.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	// The first signal stops the run in good order; after it a second one
	// ends the process as usual.
	context.AfterFunc(ctx, stop)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

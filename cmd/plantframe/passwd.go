package main

import (
	"bufio"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"plantframe/cmd/internal/web"
	"plantframe/pipeline/swing"
)

const passwdHelp = `Write a name with its password into the password file of plantframe serve.

The password is asked for twice, or read as one line from standard input. It has
8 characters or more; the file keeps a hash of it (Argon2id) and can be read by
its owner alone. A server that runs takes the change at once: who was logged in
by that name is logged out.`

func (a *app) passwd() *cobra.Command {
	var file, path, role string
	var remove bool
	cmd := &cobra.Command{
		Use:   "passwd NAME",
		Short: "Set the password of somebody who may use the web page",
		Long:  passwdHelp,
		Example: `  plantframe serve passwd coach
  plantframe serve passwd assistant --role viewer
  plantframe serve passwd assistant --remove`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			where, err := passwordsFrom(cmd, file, path)
			if err != nil {
				return err
			}
			if remove {
				if err := web.SetPassword(where, args[0], "", web.Instructor); err != nil {
					return err
				}
				fmt.Fprintf(a.stdout, "%s is taken out of %s\n", args[0], where)
				return nil
			}
			password, err := a.askPassword()
			if err != nil {
				return err
			}
			if err := web.SetPassword(where, args[0], password, web.Role(role)); err != nil {
				return err
			}
			fmt.Fprintf(a.stdout, "%s may log in as %s (%s)\n", args[0], role, where)
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringVar(&path, "passwords", "", "password file (default plantframe/passwords in the user's configuration folder)")
	f.StringVar(&role, "role", string(web.Instructor), "instructor: does everything; viewer: only looks")
	f.BoolVar(&remove, "remove", false, "take the name out")
	_ = cmd.RegisterFlagCompletionFunc("role", cobra.FixedCompletions([]string{string(web.Instructor), string(web.Viewer)}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// askPassword asks twice on a terminal, without showing it, or reads a line.
func (a *app) askPassword() (string, error) {
	wrong := func(msg string) error {
		return &swing.Error{Op: "passwd", Frame: -1, Kind: swing.KindUsage, Msg: msg, Hint: "type the same password twice, of 8 characters or more"}
	}
	if f, ok := a.stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		var typed [2]string
		for i, text := range []string{"password: ", "again: "} {
			fmt.Fprint(a.stderr, text)
			b, err := term.ReadPassword(int(f.Fd()))
			fmt.Fprintln(a.stderr)
			if err != nil {
				return "", wrong("the password could not be read")
			}
			typed[i] = string(b)
		}
		if typed[0] != typed[1] {
			return "", wrong("the two passwords differ")
		}
		if typed[0] == "" {
			return "", wrong("there is no password")
		}
		return typed[0], nil
	}
	line, err := bufio.NewReader(a.stdin).ReadString('\n')
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		if err != nil {
			return "", wrong("no password was given")
		}
		return "", wrong("there is no password")
	}
	return line, nil
}

package config

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"reflect"
	"slices"
	"strings"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"

	"plantframe/pipeline/swing"
)

// EnvPrefix begins the name of every variable that is read.
const EnvPrefix = "PLANTFRAME_"

// Variables that are read elsewhere and are no settings of an analysis.
const (
	EnvCache  = EnvPrefix + "CACHE"  // folder of models and stage results
	EnvConfig = EnvPrefix + "CONFIG" // the settings file, like --config
)

// Load fills s, which holds the defaults, from the settings file, the
// environment and the flags that were given. file may be empty. A flag sets
// the setting of its own name with underscores for dashes; flags without such
// a setting are passed over. Errors are *swing.Error of KindUsage, or
// KindMissing when the file is not there.
func Load(s any, flags *pflag.FlagSet, file string) error {
	all := leaves(reflect.ValueOf(s).Elem(), "")
	known := make([]string, 0, len(all))
	v := viper.New()
	for _, l := range all {
		if _, ok := governed()[l.key]; ok {
			continue // may not be given
		}
		known = append(known, l.key)
		if err := v.BindEnv(l.key, envName(l.key)); err != nil {
			return usage("", err.Error(), "")
		}
		if flags == nil {
			continue
		}
		if f := flags.Lookup(strings.ReplaceAll(l.key, "_", "-")); f != nil {
			if err := v.BindPFlag(l.key, f); err != nil {
				return usage("", err.Error(), "")
			}
		}
	}
	if err := unknownVariables(known, os.Environ()); err != nil {
		return err
	}
	if file != "" {
		if err := readFile(v, file, known); err != nil {
			return err
		}
	}
	for _, l := range all {
		if !slices.Contains(known, l.key) || !given(v, flags, l.key) {
			continue
		}
		if err := assign(l.value, v.Get(l.key)); err != nil {
			return usage("", fmt.Sprintf("setting %q %v", l.key, err), "")
		}
	}
	return nil
}

// given tells whether a flag, a variable or the file says something.
func given(v *viper.Viper, flags *pflag.FlagSet, key string) bool {
	if flags != nil {
		if f := flags.Lookup(strings.ReplaceAll(key, "_", "-")); f != nil {
			return f.Changed || v.InConfig(key) || os.Getenv(envName(key)) != ""
		}
	}
	return v.IsSet(key)
}

// readFile reads a settings file and refuses keys that do not exist.
func readFile(v *viper.Viper, file string, known []string) error {
	v.SetConfigFile(file)
	v.SetConfigType("yaml")
	if err := v.ReadInConfig(); err != nil {
		var pe *fs.PathError
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return &swing.Error{
				Op: "config.Load", Frame: -1, Kind: swing.KindMissing,
				Msg: "there is no settings file " + file, Hint: "check the path after --config, or " + EnvConfig,
			}
		case errors.As(err, &pe):
			return usage(file, fmt.Sprintf("the settings file cannot be read (%v)", pe.Err), "")
		}
		text := strings.Join(strings.Fields(strings.TrimPrefix(err.Error(), "While parsing config: ")), " ")
		return usage(file, "the settings file is not valid YAML ("+text+")", "compare it with configs/default.yaml")
	}
	own := viper.New()
	own.SetConfigFile(file)
	own.SetConfigType("yaml")
	if err := own.ReadInConfig(); err != nil {
		return usage(file, err.Error(), "")
	}
	keys := own.AllKeys()
	slices.Sort(keys)
	for _, k := range keys {
		if slices.Contains(known, k) {
			continue
		}
		if by, ok := governed()[k]; ok {
			return usage(file, fmt.Sprintf("setting %q follows from %q and cannot be given", k, by), fmt.Sprintf("set %q", by))
		}
		if group(known, k) {
			return usage(file, fmt.Sprintf("setting %q is a group of settings and has no value of its own", k), "compare it with configs/default.yaml")
		}
		return usage(file, fmt.Sprintf("there is no setting %q", k), suggestion(known, k, "settings are listed in configs/default.yaml"))
	}
	return nil
}

// group tells whether key is the first part of known keys.
func group(known []string, key string) bool {
	return slices.ContainsFunc(known, func(k string) bool { return strings.HasPrefix(k, key+".") })
}

// unknownVariables refuses PLANTFRAME_ variables that set nothing: a slip in
// a name must not go unnoticed.
func unknownVariables(known, environ []string) error {
	names := []string{EnvCache, EnvConfig}
	for _, k := range known {
		names = append(names, envName(k))
	}
	for _, e := range environ {
		name, _, _ := strings.Cut(e, "=")
		if strings.HasPrefix(name, EnvPrefix) && !slices.Contains(names, name) {
			return usage("", "there is no setting for the environment variable "+name, suggestion(names, name, "unset it"))
		}
	}
	return nil
}

func envName(key string) string {
	return EnvPrefix + strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
}

// suggestion names the known word nearest to a wrong one, else says other.
func suggestion(known []string, word, other string) string {
	best, least := "", 3
	for _, k := range known {
		if d := distance(k, word); d < least {
			best, least = k, d
		}
	}
	if best == "" {
		return other
	}
	return "did you mean " + best + "?"
}

// distance counts the letters to insert, delete or replace to turn a into b
// (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diag
			if a[i] != b[j] {
				cost++
			}
			diag = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

func usage(file, msg, hint string) error {
	return &swing.Error{Op: "config.Load", Clip: file, Frame: -1, Kind: swing.KindUsage, Msg: msg, Hint: hint}
}

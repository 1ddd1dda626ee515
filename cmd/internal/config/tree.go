package config

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// leaf is one setting: a field that is not itself a group of settings.
type leaf struct {
	key    string        // such as "track.body_cutoff"
	value  reflect.Value // settable when the root was
	parent reflect.Type  // struct that holds the field
	field  string        // its name there
}

var durationType = reflect.TypeFor[time.Duration]()

// leaves lists the settings below a struct in the order of its fields.
// Embedded structs add theirs without a name of their own. Fields that a
// settings file cannot give (functions, interfaces, channels, maps, pointers)
// are passed over.
func leaves(root reflect.Value, prefix string) []leaf {
	var out []leaf
	t := root.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		key := prefix + snake(f.Name)
		switch k := f.Type.Kind(); {
		case k == reflect.Struct && f.Anonymous:
			out = append(out, leaves(root.Field(i), prefix)...)
		case k == reflect.Struct:
			out = append(out, leaves(root.Field(i), key+".")...)
		case settable(f.Type):
			out = append(out, leaf{key, root.Field(i), t, f.Name})
		}
	}
	return out
}

func settable(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Bool, reflect.String, reflect.Float64, reflect.Int, reflect.Int64, reflect.Uint64:
		return true
	case reflect.Slice, reflect.Array:
		return settable(t.Elem()) && t.Elem().Kind() != reflect.Slice && t.Elem().Kind() != reflect.Array
	}
	return false
}

// snake turns a Go name into a key: MaxPixels to max_pixels, HeightM to
// height_m, FFmpeg to ffmpeg.
func snake(name string) string {
	name = strings.NewReplacer("FFmpeg", "Ffmpeg", "FFprobe", "Ffprobe").Replace(name)
	rs := []rune(name)
	var b strings.Builder
	for i, r := range rs {
		// A new word starts at a capital after a small letter or digit, or
		// at the last capital of a run: JSONLines is json_lines.
		if i > 0 && unicode.IsUpper(r) &&
			(!unicode.IsUpper(rs[i-1]) || i+1 < len(rs) && unicode.IsLower(rs[i+1])) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// assign sets a field from what a file, a variable or a flag says. The error
// says what was wanted, without the key.
func assign(v reflect.Value, raw any) error {
	text := strings.TrimSpace(fmt.Sprint(raw))
	wrong := func(want string) error { return fmt.Errorf("is %q, it must be %s", text, want) }
	if v.Type() == durationType {
		d, err := time.ParseDuration(text)
		if err != nil {
			return wrong("a time with its unit, such as 60s")
		}
		v.SetInt(int64(d))
		return nil
	}
	switch v.Kind() {
	case reflect.String:
		switch raw.(type) {
		case map[string]any, []any:
			return wrong("one word or text")
		}
		v.SetString(text)
	case reflect.Bool:
		b, err := strconv.ParseBool(text)
		if err != nil {
			return wrong("true or false")
		}
		v.SetBool(b)
	case reflect.Int, reflect.Int64:
		n, err := strconv.ParseInt(text, 10, v.Type().Bits())
		if err != nil {
			return wrong("a whole number")
		}
		v.SetInt(n)
	case reflect.Uint64:
		n, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return wrong("a whole number, 0 or more")
		}
		v.SetUint(n)
	case reflect.Float64:
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || x-x != 0 { // x-x is not 0 for infinity and NaN
			return wrong("a number")
		}
		v.SetFloat(x)
	case reflect.Slice, reflect.Array:
		return assignList(v, raw, text)
	default:
		return wrong("nothing: this kind of setting cannot be given")
	}
	return nil
}

// assignList sets a list from a list, or from text with commas.
func assignList(v reflect.Value, raw any, text string) error {
	items, ok := raw.([]any)
	if !ok {
		for part := range strings.SplitSeq(strings.Trim(text, "[]"), ",") {
			if part = strings.TrimSpace(part); part != "" {
				items = append(items, part)
			}
		}
	}
	if v.Kind() == reflect.Array && len(items) != v.Len() {
		return fmt.Errorf("has %d values, it must have %d", len(items), v.Len())
	}
	list := v
	if v.Kind() == reflect.Slice {
		list = reflect.MakeSlice(v.Type(), len(items), len(items))
	}
	for i, item := range items {
		if err := assign(list.Index(i), item); err != nil {
			return fmt.Errorf("value %d %w", i+1, err)
		}
	}
	v.Set(list)
	return nil
}

// plain returns a setting's value as JSON and YAML hold it.
func plain(v reflect.Value) any {
	if v.Type() == durationType {
		return time.Duration(v.Int()).String()
	}
	switch v.Kind() {
	case reflect.String:
		return v.String()
	case reflect.Slice, reflect.Array:
		out := make([]any, v.Len())
		for i := range out {
			out[i] = plain(v.Index(i))
		}
		return out
	}
	return v.Interface()
}

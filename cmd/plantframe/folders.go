package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"plantframe/cmd/internal/ui"
)

// longestStem bounds the name of a result folder, bytes: file systems take
// 255, and temporary names need room.
const longestStem = 120

// chooseFolders gives each clip a folder name below out: the file's name
// without its ending. Where another clip has that name, in this run or in
// results of an earlier one, the beginning of the content's checksum is added,
// so that nothing is overwritten; say is told. Clips get the same folders in
// every run.
func chooseFolders(ctx context.Context, out string, clips []*clipFile, say func(clip, folder string)) map[*clipFile]string {
	folders := map[*clipFile]string{}
	taken := map[string]bool{} // in small letters: some disks do not tell them apart
	for _, c := range clips {
		name, cut := stem(c.path)
		if cut || taken[strings.ToLower(name)] || !ours(ctx, filepath.Join(out, name), c) {
			sum, err := c.checksum(ctx)
			if err != nil {
				sum = strings.Repeat("0", 64) // its analysis will fail and say why
			}
			name += "-" + sum[:8]
			say(c.path, name)
		}
		taken[strings.ToLower(name)] = true
		folders[c] = name
	}
	return folders
}

// stem returns the folder name that a clip would like and whether something
// had to be cut off.
func stem(path string) (name string, cut bool) {
	name = filepath.Base(path)
	name = strings.TrimSuffix(name, filepath.Ext(name))
	name = strings.TrimLeft(strings.TrimRight(strings.ReplaceAll(ui.Plain(name), "?", "_"), ". "), ".")
	if name == "" {
		name = "clip"
	}
	for len(name) > longestStem {
		_, n := utf8.DecodeLastRuneInString(name)
		name, cut = name[:len(name)-n], true
	}
	return name, cut
}

// ours tells whether a folder may take the results of c: it is not there, has
// no results yet, or holds those of the same content.
func ours(ctx context.Context, folder string, c *clipFile) bool {
	b, err := os.ReadFile(filepath.Join(folder, analysisFile))
	if err != nil {
		st, err := os.Stat(folder)
		return err != nil || st.IsDir()
	}
	var a struct {
		Clip struct {
			SHA256 string `json:"sha256"`
		} `json:"clip"`
	}
	if json.Unmarshal(b, &a) != nil {
		return false
	}
	sum, err := c.checksum(ctx)
	return err == nil && a.Clip.SHA256 == sum
}

// folderNote is what say tells people.
func folderNote(clip, folder string) string {
	return fmt.Sprintf("the results of %s go to the folder %s: the plain name belongs to another clip or is too long", ui.Plain(clip), folder)
}

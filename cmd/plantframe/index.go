package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"plantframe/pipeline/output"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// indexFile is the list of all clips below an output folder.
const indexFile = "index.html"

// writeMeasures writes measures.csv and index.html over all results below out, so that
// they always cover what lies there, of earlier runs too.
func writeMeasures(out string) error {
	paths, err := filepath.Glob(filepath.Join(escapeGlob(out), "*", analysisFile))
	if err != nil {
		return writing(out, err)
	}
	slices.Sort(paths)
	var all []swing.Analysis
	list := page.Index{Tables: []string{measuresFile}}
	for _, p := range paths {
		f, err := os.Open(p)
		if err != nil {
			continue
		}
		a, err := output.ReadJSON(f)
		f.Close()
		if err != nil {
			continue // not one of ours
		}
		// Tracks, which are most of the bytes, are not needed.
		for i := range a.Swings {
			a.Swings[i].Track, a.Swings[i].Bat = swing.Track{}, swing.BatPath{}
		}
		all = append(all, a)
		list.Clips = append(list.Clips, listed(filepath.Dir(p), &a))
	}
	if exists(filepath.Join(out, rosterPage)) {
		list.Tables = append(list.Tables, rosterPage)
	}
	if err := writeWhole(filepath.Join(out, measuresFile), func(f *os.File) error { return output.WriteCSV(f, all) }); err != nil {
		return err
	}
	return writeWhole(filepath.Join(out, indexFile), func(f *os.File) error { return page.WriteIndex(f, list) })
}

// listed is the row of a clip whose results lie in dir.
func listed(dir string, a *swing.Analysis) page.Clip {
	c := page.Clip{Name: filepath.Base(a.Clip.Path), Folder: filepath.Base(dir), Swings: len(a.Swings)}
	c.Hitter, _ = a.Options["hitter"].(string)
	judged := false
	for i, s := range a.Swings {
		if i == 0 {
			c.Bats, c.View = s.Bats, s.View
		}
		need := ""
		for _, f := range s.Findings {
			judged = judged || f.Status != swing.NotJudgeable
			if f.Priority == 1 {
				need = titled(f)
			}
		}
		c.Needs = append(c.Needs, need)
	}
	if !judged {
		c.Needs = nil
	}
	if exists(filepath.Join(dir, thumbFile)) {
		c.Thumb = thumbFile
	}
	names := []string{}
	for i, s := range a.Swings {
		names = append(names, numbered(reportFile, s.Index), numbered(sheetFile, s.Index), pairFiles(i).Video)
	}
	names = append(names, overlayFile)
	for _, n := range names {
		if exists(filepath.Join(dir, n)) && !slices.Contains(c.Files, n) {
			c.Files = append(c.Files, n)
		}
	}
	slices.SortStableFunc(c.Files, func(a, b string) int { return strings.Compare(filepath.Ext(a), filepath.Ext(b)) })
	return c
}

package web

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"strings"
	"testing"
)

// The one file that is not ours is the one whose licence and checksum are written down.
func TestVendoredScript(t *testing.T) {
	b, err := statics.ReadFile("static/tus.min.js")
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(b)
	text, err := os.ReadFile("../../../THIRD_PARTY.md")
	if err != nil || !strings.Contains(string(text), hex.EncodeToString(sum[:])) {
		t.Error("THIRD_PARTY.md does not name the checksum ", hex.EncodeToString(sum[:]), err)
	}
	if l, err := os.ReadFile("static/tus.LICENSE"); err != nil || !strings.Contains(string(l), "MIT") {
		t.Error("no licence beside it", err)
	}
}

// Our script sets texts as texts: the rows of the server, escaped there, are the only
// HTML that it takes.
func TestScriptTakesNoHTML(t *testing.T) {
	b, err := statics.ReadFile("static/app.js")
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	if strings.Count(text, "innerHTML") != 1 || !strings.Contains(text, "t.innerHTML = html") {
		t.Error("innerHTML is used elsewhere")
	}
	for _, bad := range []string{"eval(", "new Function", "document.write", "insertAdjacentHTML", "outerHTML"} {
		if strings.Contains(text, bad) {
			t.Error(bad)
		}
	}
}

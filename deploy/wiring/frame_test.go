package main

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// marginPX is how far beyond its frame a picture is rendered here.
const marginPX = 200

// TestPicturesFit renders each picture in the font of a plain Debian, which is wider
// than the font that a page may choose, and finds what runs out of the frame.
func TestPicturesFit(t *testing.T) {
	if _, err := exec.LookPath("rsvg-convert"); err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") == "" {
		t.Skip("rsvg-convert is not installed: apt-get install librsvg2-bin fonts-dejavu-core")
	}
	for _, p := range pictures() {
		if at := outside(t, p); at != "" {
			t.Errorf("%s runs out of its frame at %s", p.name, at)
		}
	}
	long := newSheet("long", "", "", 200, 100)
	long.text(20, 50, "start", ink, "a line that no frame of this width can hold")
	if outside(t, long) == "" {
		t.Error("a line that runs out of its frame is not seen")
	}
}

// outside returns the place of the first pixel that is drawn outside the frame, "" if
// there is none.
func outside(t *testing.T, p *sheet) string {
	t.Helper()
	wider := fmt.Sprintf(`viewBox="%d %d %d %d"`, -marginPX, -marginPX, p.w+2*marginPX, p.h+footPX+2*marginPX)
	svg := strings.Replace(p.svg(), fmt.Sprintf(`viewBox="0 0 %d %d"`, p.w, p.h+footPX), wider, 1)
	svg = strings.Replace(svg, "Helvetica, Arial, sans-serif", "DejaVu Sans", 1)
	c := exec.CommandContext(t.Context(), "rsvg-convert", "--format", "png")
	c.Stdin = strings.NewReader(svg)
	raw, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if b := img.Bounds(); b.Dx() != p.w+2*marginPX || b.Dy() != p.h+footPX+2*marginPX {
		t.Fatalf("%s: rendered as %v", p.name, b)
	}
	for y := range p.h + footPX + 2*marginPX {
		for x := range p.w + 2*marginPX {
			framed := x >= marginPX && x < marginPX+p.w && y >= marginPX && y < marginPX+p.h+footPX
			if _, _, _, alpha := img.At(x, y).RGBA(); !framed && alpha != 0 {
				return fmt.Sprintf("%d, %d", x-marginPX, y-marginPX)
			}
		}
	}
	return ""
}

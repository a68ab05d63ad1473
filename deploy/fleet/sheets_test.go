package main

import (
	"image"
	"image/color"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bayward/agent/config"
)

var (
	drawn = regexp.MustCompile(`(?s)viewBox="0 0 (\d+) \d+".*?<path d="([^"]*)"/></svg>`)
	moved = regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`)
)

// scanned reads every code of a sheet from its drawing, with another library than the one
// that drew it.
func scanned(t *testing.T, html string) (all []string) {
	t.Helper()
	number := func(s string) int {
		n, err := strconv.Atoi(s)
		require.NoError(t, err)
		return n
	}
	for _, m := range drawn.FindAllStringSubmatch(html, -1) {
		const scale = 4
		size := number(m[1])
		img := image.NewGray(image.Rect(0, 0, size*scale, size*scale))
		for i := range img.Pix {
			img.Pix[i] = 255
		}
		require.Empty(t, moved.ReplaceAllString(m[2], ""), "only bars are drawn")
		for _, bar := range moved.FindAllStringSubmatch(m[2], -1) {
			x, y, w := number(bar[1]), number(bar[2]), number(bar[3])
			require.Equal(t, bar[3], bar[4])
			for px := x * scale; px < (x+w)*scale; px++ {
				for py := y * scale; py < (y+1)*scale; py++ {
					img.SetGray(px, py, color.Gray{})
				}
			}
		}
		bits, err := gozxing.NewBinaryBitmapFromImage(img)
		require.NoError(t, err)
		// The library's search for the three squares, which a photo needs, fails for about one
		// key of 300 on these straight drawings. They are read square by square instead.
		text, err := qrcode.NewQRCodeReader().Decode(bits, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_PURE_BARCODE: true})
		require.NoError(t, err)
		all = append(all, text.GetText())
	}
	return all
}

// TestSheets: a phone reads the address of the bay, of the hold that needs no sign-in
// and of first aid; and where help is stands there in the language of the site.
func TestSheets(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	page := readAll(t, filepath.Join(out, "sheets/quarry-road.shed-2.html"))
	assert.Equal(t, []string{"https://shed-2.quarry.example:8080/bays/bay-1", "https://shed-2.quarry.example:8080/hold", "https://shed-2.quarry.example:8080/first-aid"}, scanned(t, page))
	for _, text := range []string{"quarry-road · shed-2", "lift-24v", "Emergency call: 112.", "Eyewash: left of the door.", "acid-proof gloves", `lang="en"`} {
		assert.Contains(t, page, text)
	}
	hut := readAll(t, filepath.Join(out, "sheets/hill.hut.html"))
	assert.Contains(t, hut, `lang="es"`)
	assert.Contains(t, hut, "guantes")
}

// TestWallKeys: only who asks for a wall's screen has a key; its sheet and its
// configuration have the same one, which stays until its file is deleted.
func TestWallKeys(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	key := func() string {
		runs(t, example, out, began)
		cfg, err := config.Load(filepath.Join(out, "pis/quarry-road/shed-2", configFile))
		require.NoError(t, err)
		codes := scanned(t, readAll(t, filepath.Join(out, "sheets/quarry-road.shed-2-wall.html")))
		require.Len(t, codes, 1)
		at, err := url.Parse(codes[0])
		require.NoError(t, err)
		assert.Equal(t, "shed-2.quarry.example:8080/wall", at.Host+at.Path)
		assert.Equal(t, cfg.HTTP.WallKey, at.Query().Get("key"))
		return cfg.HTTP.WallKey
	}
	first := key()
	assert.GreaterOrEqual(t, len(first), 25, "120 bits and more in five each letter")
	assert.Equal(t, first, key())
	require.NoError(t, os.Remove(filepath.Join(out, "authority/wall/quarry-road.shed-2")))
	assert.NotEqual(t, first, key())
	for name, data := range tree(t, out) {
		assert.NotContains(t, data, first, name)
		if strings.HasPrefix(name, "pis/") && !strings.Contains(name, "shed-2") {
			assert.NotContains(t, data, "wall_key", name)
		}
	}
}

package web_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
	"bayward/agent/words"
)

// TestWhereHelpIs: the site's numbers can be dialled from first aid and before a visit,
// and what is not known leaves no gap.
func TestWhereHelpIs(t *testing.T) {
	b := newBench(func(o *web.Options) {
		o.Aid = words.SiteAid{EmergencyPhone: "112", SitePhone: "+1 (555) 01-00", Eyewash: "left of <the door>"}
	}, "bay-1")
	for _, path := range []string{"/first-aid", visit} {
		page := text(t, b.get(path))
		require.Contains(t, page, `<a href="tel:112">112</a>`, path)
		require.Contains(t, page, `<a href="tel:&#43;15550100">&#43;1 (555) 01-00</a>`, path)
		require.Contains(t, page, "left of &lt;the door&gt;", path)
		require.NotContains(t, page, "First-aid kit", path)
	}
	require.NotContains(t, text(t, newBench(nil, "bay-1").get("/first-aid")), "tel:")
}

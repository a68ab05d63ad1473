package lease

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestList(t *testing.T) {
	list, err := ParseList("lines", []byte("# by hand\nuser 998\n\nbay-1 GPIO17 GPIO27\nold GPIO22 -\nold bay-2 GPIO16 -\n"))
	require.NoError(t, err)
	require.Equal(t, List{
		User: 998,
		Rows: []Row{{"bay-1", "GPIO17", "GPIO27"}, {"old", "GPIO22", ""}}, // a bay may have that name
		Old:  []Row{{"bay-2", "GPIO16", ""}},
	}, list)
	require.Equal(t, "user 998\nbay-1 GPIO17 GPIO27\nold GPIO22 -\nold bay-2 GPIO16 -\n", list.String())
}

// TestListComplaints: each names file, line and value, and what is accepted.
func TestListComplaints(t *testing.T) {
	const (
		lines = `: must be GPIO9 to GPIO13 or GPIO16 to GPIO27, and a missing heartbeat -`
		entry = `: must be "user NUMBER", "BAY LINE HEARTBEAT" or "old BAY LINE HEARTBEAT"`
	)
	for text, want := range map[string]string{
		"bay-1 GPIO17 -":                           `f:1: value "" is not accepted: an entry such as "user 998" is needed`,
		"user root":                                `f:1: value "root" is not accepted: user must be the number of one user, and be given once` + "\n" + `f:1: value "" is not accepted: an entry such as "user 998" is needed`,
		"user 1\nuser 2":                           `f:2: value "2" is not accepted: user must be the number of one user, and be given once`,
		"user 1\nbay-1 GPIO2 -":                    `f:2: value "GPIO2" is not accepted` + lines,
		"user 1\nbay-1 GPIO17 GPIO14":              `f:2: value "GPIO14" is not accepted` + lines,
		"user 1\nold bay-1 17 -":                   `f:2: value "17" is not accepted` + lines,
		"user 1\nbay-1 - GPIO17":                   `f:2: value "-" is not accepted` + lines,
		"user 1\nbay-1 GPIO17 -GPIO27":             `f:2: value "-GPIO27" is not accepted` + lines,
		"user 1\nbay-1":                            `f:2: value "bay-1" is not accepted` + entry,
		"user 1\nnew bay-1 GPIO17 -":               `f:2: value "new bay-1 GPIO17 -" is not accepted` + entry,
		"user 1\nbay-1 GPIO17 " + "GPIO17":         `f:2: value "bay-1 GPIO17 ` + `GPIO17" is not accepted: the two lines must differ`,
		"user 1\nbay-1 GPIO17 -\nbay-1 GPIO22 -":   `f:3: value "bay-1 GPIO22 -" is not accepted: must not have the bay or a line of bay-1 GPIO17 -`,
		"user 1\nb GPIO17 GPIO27\nc GPIO22 GPIO27": `f:3: value "c GPIO22 GPIO27" is not accepted: must not have the bay or a line of b GPIO17 GPIO27`,
	} {
		_, err := ParseList("f", []byte(text))
		require.EqualError(t, err, want, text)
	}
}

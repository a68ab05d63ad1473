package words

import (
	"strconv"
	"strings"
)

// Cells lists numbers of cells in order, three or more in a row as a range: "4, 5, 7
// to 12".
func (v Voice) Cells(numbers []int) string {
	var parts []string
	for i := 0; i < len(numbers); {
		end := i
		for end+1 < len(numbers) && numbers[end+1] == numbers[end]+1 {
			end++
		}
		if end-i < 2 {
			parts = append(parts, strconv.Itoa(numbers[i]))
			i++
			continue
		}
		parts = append(parts, v.Say("cells.range", numbers[i], numbers[end]))
		i = end + 1
	}
	return strings.Join(parts, ", ")
}

// StillBare states which cells of a pack have bare plates by the record; "" for none.
func (v Voice) StillBare(cells []int) string {
	switch len(cells) {
	case 0:
		return ""
	case 1:
		return v.Say("bare.one", cells[0])
	}
	return v.Say("bare.many", len(cells), v.Cells(cells))
}

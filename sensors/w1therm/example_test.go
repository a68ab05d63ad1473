package w1therm_test

import (
	"context"
	"fmt"
	"log"
	"testing/fstest"

	"bayward/sensors/w1therm"
)

func Example() {
	// On a Pi: os.DirFS("/sys/bus/w1/devices").
	root := fstest.MapFS{"28-0316a2795bff/w1_slave": {Data: []byte(
		"72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n")}}

	ids, err := w1therm.List(root)
	if err != nil {
		log.Fatal(err)
	}
	for _, id := range ids {
		d, err := w1therm.New(root, id)
		if err != nil {
			log.Fatal(err)
		}
		t, err := d.Read(context.Background())
		fmt.Println(id, t, err)
	}
	// Output: 28-0316a2795bff 23.125°C <nil>
}

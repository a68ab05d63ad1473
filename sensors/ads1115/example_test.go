package ads1115_test

import (
	"context"
	"errors"
	"fmt"
	"log"

	"periph.io/x/conn/v3/i2c/i2creg"

	"bayward/sensors/ads1115"
)

func Example() {
	// The program has called host.Init or driverreg.Init before.
	bus, err := i2creg.Open("1")
	if err != nil {
		log.Fatal(err)
	}
	defer bus.Close()

	adc, err := ads1115.New(bus, &ads1115.DefaultOpts)
	if err != nil {
		log.Fatal(err)
	}
	v, err := adc.Read(context.Background(), ads1115.Single0, ads1115.FS4096, ads1115.SPS128)
	switch {
	case errors.Is(err, ads1115.ErrNoAnswer):
		fmt.Println("check the plug:", err)
	case err != nil:
		fmt.Println(err)
	default:
		fmt.Println(v)
	}
}

package main

import (
	"encoding/json"
	"fmt"

	"bayward/agent/airflow"
	"bayward/agent/config"
	"bayward/agent/usage"
)

type airflowCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE"`
	JSON   bool   `name:"json"`
}

// Run works the figures out and prints them.
func (c *airflowCmd) Run(p *program) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usage.Error(err)
	}
	places, err := placesOf(cfg)
	if err != nil {
		return usage.Error(err)
	}
	report, err := airflow.For(places, voiceOf(cfg, c.JSON))
	if err != nil {
		return wrong("airflow", err)
	}
	if c.JSON {
		e := json.NewEncoder(p.stdout)
		e.SetIndent("", "  ")
		return e.Encode(report)
	}
	_, err = fmt.Fprint(p.stdout, report.Text(cfg.Units == "us"))
	return err
}

// largest is the worst case of a bay for several packs, which have one number of
// cells: the gas goes by the capacity.
func largest(cfg *config.Config, names []string) (worst config.Pack, err error) {
	for _, name := range names {
		p, err := cfg.PackNamed(name)
		if err != nil {
			return config.Pack{}, err
		}
		if p.CapacityAh > worst.CapacityAh {
			worst = p
		}
	}
	return worst, nil
}

func placesOf(cfg *config.Config) ([]airflow.Place, error) {
	var places []airflow.Place
	for i := range cfg.Bays {
		b := &cfg.Bays[i]
		pack, err := largest(cfg, b.Serves())
		if err != nil {
			return nil, wrong("in-bay", b.Name, err)
		}
		place := airflow.Place{Bay: b.Name, Pack: pack.Name, Cells: pack.Cells, CapacityAh: pack.CapacityAh}
		place.Curve, place.RatedA = b.Characteristic()
		places = append(places, place)
	}
	return places, nil
}

package main

import (
	"encoding/json"
	"fmt"
)

// inventory is one for Ansible, by the keys of its documentation.
type inventory struct {
	All group `json:"all"`
}

type group struct {
	Vars     map[string]string `json:"vars,omitempty"`
	Hosts    map[string]host   `json:"hosts,omitempty"`
	Children map[string]*group `json:"children,omitempty"`
}

type host struct {
	Address string `json:"ansible_host,omitempty"`
	Files   string `json:"bayward_files,omitempty"`
}

// inventoryFile adds the list of all Pis with the files of each, in the group of its wave too.
func (p *plan) inventoryFile(o *output) error {
	pis := &group{Hosts: map[string]host{}}
	all := group{Children: map[string]*group{"pis": pis}}
	if p.FirstBoot != nil {
		all.Vars = map[string]string{"ansible_user": p.FirstBoot.User}
	}
	for i := range p.configs {
		m := &p.configs[i]
		name, wave := m.site.user(m.agent), fmt.Sprintf("wave_%d", m.site.Wave)
		pis.Hosts[name] = host{m.agent.Host, "{{ inventory_dir }}/pis/" + m.site.Name + "/" + m.agent.Name}
		if all.Children[wave] == nil {
			all.Children[wave] = &group{Hosts: map[string]host{}}
		}
		all.Children[wave].Hosts[name] = host{}
	}
	text, err := json.MarshalIndent(inventory{all}, "", " ") // JSON is YAML
	if err != nil {
		return err
	}
	o.add("inventory.yaml", append([]byte(fromFleet), append(text, '\n')...))
	return nil
}

// Package bays is the client of an agent's page and its interface for programs, generated from
// agent/web/openapi.yaml.
package bays

//go:generate go tool oapi-codegen -config settings.yaml -o generated.go ../../../../agent/web/openapi.yaml

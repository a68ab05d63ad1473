package config

import (
	"os"
	"path/filepath"

	"github.com/goccy/go-yaml"
)

// CertFile returns the file of the page's certificate, which the web configuration file
// names; "" without TLS, and where that file cannot be read. Whether it is right is
// checked where it is used.
func (h *HTTP) CertFile() string {
	var web struct {
		TLS struct {
			CertFile string `yaml:"cert_file"`
		} `yaml:"tls_server_config"`
	}
	if h.WebConfigFile == "" {
		return ""
	}
	text, err := os.ReadFile(h.WebConfigFile)
	if err != nil || yaml.Unmarshal(text, &web) != nil || web.TLS.CertFile == "" {
		return ""
	}
	if filepath.IsAbs(web.TLS.CertFile) {
		return web.TLS.CertFile
	}
	return filepath.Join(filepath.Dir(h.WebConfigFile), web.TLS.CertFile)
}

package metrics

import (
	"bytes"
	"os"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"
)

var diskWritten = prometheus.NewDesc("bayward_disk_written_bytes_total",
	"Bytes written to storage devices by the process since it started; writes wear memory cards.", nil, nil)

// disk reads the kernel's count of what this process wrote.
type disk struct{ path string }

// DiskWrites returns a collector of the bytes written to storage, from the file
// /proc/self/io (proc(5), "write_bytes"). If that cannot be read the metric is
// absent.
func DiskWrites() prometheus.Collector { return disk{"/proc/self/io"} }

// Describe implements prometheus.Collector.
func (disk) Describe(ch chan<- *prometheus.Desc) { ch <- diskWritten }

// Collect implements prometheus.Collector.
func (d disk) Collect(ch chan<- prometheus.Metric) {
	text, err := os.ReadFile(d.path)
	if err != nil {
		return
	}
	if n, ok := writeBytes(text); ok {
		ch <- prometheus.MustNewConstMetric(diskWritten, prometheus.CounterValue, float64(n))
	}
}

func writeBytes(text []byte) (n uint64, ok bool) {
	for line := range bytes.Lines(text) {
		if value, found := bytes.CutPrefix(line, []byte("write_bytes:")); found {
			n, err := strconv.ParseUint(string(bytes.TrimSpace(value)), 10, 64)
			return n, err == nil
		}
	}
	return 0, false
}

package metrics

import (
	"os"
	"sync"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/procfs"
	"golang.org/x/sys/unix"
)

var (
	processCPU      = prometheus.NewDesc("process_cpu_seconds_total", "Total user and system CPU time spent in seconds.", nil, nil)
	processRSS      = prometheus.NewDesc("process_resident_memory_bytes", "Resident memory size in bytes.", nil, nil)
	processVSize    = prometheus.NewDesc("process_virtual_memory_bytes", "Virtual memory size in bytes.", nil, nil)
	processStart    = prometheus.NewDesc("process_start_time_seconds", "Start time of the process since unix epoch in seconds.", nil, nil)
	processFiles    = prometheus.NewDesc("process_open_fds", "Number of open file descriptors.", nil, nil)
	processMaxFiles = prometheus.NewDesc("process_max_fds", "Maximum number of open file descriptors.", nil, nil)
)

// process shows the usual figures of this process under their usual names
// (Prometheus, "Writing client libraries", section "Process metrics"). The
// library's own collector, the tests' oracle, also reads the traffic of the whole
// machine, the limits, and the start time again each time: 0.3 ms more, a sixth of a
// scrape (deploy/bench/costs.md).
//
// It keeps no value of procfs: in a collector, which is an interface, that would
// keep half a megabyte of its methods in the program.
type process struct {
	start func() (float64, error) // seconds; does not change
}

func newProcess() process {
	return process{sync.OnceValues(func() (float64, error) {
		proc, err := procfs.NewProc(os.Getpid())
		if err != nil {
			return 0, err
		}
		stat, err := proc.Stat()
		if err != nil {
			return 0, err
		}
		return stat.StartTime()
	})}
}

// Describe implements prometheus.Collector.
func (process) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{processCPU, processRSS, processVSize, processStart, processFiles, processMaxFiles} {
		ch <- d
	}
}

// Collect implements prometheus.Collector. What cannot be read is absent.
func (p process) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, err error) {
		if err == nil {
			ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v)
		}
	}
	proc, err := procfs.NewProc(os.Getpid())
	if err != nil {
		return
	}
	if stat, err := proc.Stat(); err == nil {
		ch <- prometheus.MustNewConstMetric(processCPU, prometheus.CounterValue, stat.CPUTime())
		gauge(processRSS, float64(stat.ResidentMemory()), nil)
		gauge(processVSize, float64(stat.VirtualMemory()), nil)
	}
	start, err := p.start()
	gauge(processStart, start, err)
	files, err := proc.FileDescriptorsLen()
	gauge(processFiles, float64(files), err)
	var limit unix.Rlimit
	err = unix.Getrlimit(unix.RLIMIT_NOFILE, &limit)
	gauge(processMaxFiles, float64(limit.Cur), err)
}

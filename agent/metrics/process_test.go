package metrics

import (
	"maps"
	"slices"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	dto "github.com/prometheus/client_model/go"
	"github.com/stretchr/testify/require"
)

// TestProcess compares the figures of the process with those of the client
// library's own collector: the same names, texts and kinds, and values that may
// differ only by the time between two readings.
func TestProcess(t *testing.T) {
	theirs := families(t, collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	ours := families(t, newProcess())
	require.Len(t, ours, 6)
	for name, f := range ours {
		of := theirs[name]
		require.NotNil(t, of, "%s: not one of %v", name, slices.Sorted(maps.Keys(theirs)))
		require.Equal(t, of.GetHelp(), f.GetHelp(), name)
		require.Equal(t, of.GetType(), f.GetType(), name)
		switch name {
		case "process_cpu_seconds_total":
			require.InDelta(t, of.Metric[0].Counter.GetValue(), f.Metric[0].Counter.GetValue(), 5, name)
		case "process_start_time_seconds", "process_max_fds":
			require.InDelta(t, of.Metric[0].Gauge.GetValue(), f.Metric[0].Gauge.GetValue(), 0, name)
		default:
			require.InEpsilon(t, of.Metric[0].Gauge.GetValue(), f.Metric[0].Gauge.GetValue(), 0.5, name)
		}
	}
}

func families(t *testing.T, c prometheus.Collector) map[string]*dto.MetricFamily {
	t.Helper()
	reg := prometheus.NewRegistry()
	require.NoError(t, reg.Register(c))
	all, err := reg.Gather()
	require.NoError(t, err)
	named := map[string]*dto.MetricFamily{}
	for _, f := range all {
		named[f.GetName()] = f
	}
	return named
}

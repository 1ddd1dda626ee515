package web

import (
	"context"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"plantframe/cmd/internal/queue"
)

// lookLimit is how long one look at the queue for the figures may take.
const lookLimit = 3 * time.Second

// figures tells an operator's monitoring how the machine fares: jobs by state,
// unfinished uploads, room on the disk, and the process itself. No name of a
// person or a clip is among them.
type figures struct {
	s                *Server
	jobs, free, open *prometheus.Desc
	ok               *prometheus.Desc
}

func newFigures(s *Server) *figures {
	desc := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc("plantframe_"+name, help, labels, nil)
	}
	return &figures{
		s:    s,
		jobs: desc("jobs", "Clips in the queue by state.", "state"),
		free: desc("disk_free_bytes", "Room on the disk of clips and results."),
		open: desc("connections", "Connections to the page."),
		ok:   desc("queue_up", "1 when the queue could be looked at, else 0."),
	}
}

// Describe is for prometheus.Collector.
func (f *figures) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{f.jobs, f.free, f.open, f.ok} {
		out <- d
	}
}

// Collect is for prometheus.Collector. What cannot be read is left out.
func (f *figures) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	ctx, cancel := context.WithTimeout(f.s.background, lookLimit)
	defer cancel()
	counts, err := f.s.d.Queue.Counts(ctx)
	if err != nil {
		f.s.log.Error("the queue could not be counted", "error", err)
		gauge(f.ok, 0)
	} else {
		gauge(f.ok, 1)
		// All states, so that a rule can tell none from not told.
		for _, state := range []queue.State{queue.Waiting, queue.Running, queue.Again, queue.Done, queue.GivenUp, queue.Cancelled} {
			gauge(f.jobs, float64(counts[state]), string(state))
		}
	}
	if n, err := f.s.d.Free(f.s.o.Folder); err == nil {
		gauge(f.free, float64(n))
	}
	gauge(f.open, float64(f.s.conns.count()))
}

// metrics answers a monitoring program on this machine, which has no login; others
// see no such page.
func (s *Server) metrics() func(http.ResponseWriter, *http.Request) error {
	r := prometheus.NewRegistry()
	r.MustRegister(newFigures(s), collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	h := promhttp.HandlerFor(r, promhttp.HandlerOpts{MaxRequestsInFlight: 2})
	return func(w http.ResponseWriter, q *http.Request) error {
		host, _, err := net.SplitHostPort(q.RemoteAddr)
		ip := net.ParseIP(host)
		// A proxy on this machine passes on what others ask; it says so.
		passedOn := q.Header.Get("X-Forwarded-For") != "" || q.Header.Get("Forwarded") != "" || q.Header.Get("Via") != ""
		if err != nil || ip == nil || !ip.IsLoopback() || passedOn {
			return notFound()
		}
		h.ServeHTTP(w, q)
		return nil
	}
}

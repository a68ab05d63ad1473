package assembly

import (
	"context"
	"strings"

	"github.com/prometheus/client_golang/prometheus"

	"bayward/agent/config"
	"bayward/agent/loop"
	"bayward/agent/notify"
	"bayward/agent/usage"
	"bayward/agent/words"
)

// noticeOutput sends notices by mail and webhooks.
type noticeOutput struct {
	sender *notify.Sender
	voice  words.Voice
	cfg    *config.Config
	watch  notify.Watches
}

// Name implements loop.Output.
func (noticeOutput) Name() string { return "notices" }

// Take implements loop.Output.
func (o noticeOutput) Take(_ context.Context, n *loop.News) {
	notice, changed := o.watch.Update(n.Picture)
	if !changed || notice.Kind == notify.Nothing || notice.State == notify.Seen {
		return // a user has seen it already
	}
	kind := notice.Kind.String()
	m := notify.Message{
		ID: n.Bay + " " + kind, Site: o.cfg.Site, Agent: o.cfg.Agent, Bay: n.Bay, Kind: kind, State: notice.State.String(),
		Danger:   notice.Kind == notify.ContactorStuck || notice.Kind == notify.CoverPlates || notice.Kind == notify.HydrogenWarning,
		Cautions: cautions(o.voice, o.cfg), At: n.Wall, Trusted: n.Trusted,
	}
	settled := notice.State == notify.Settled
	m.Title = o.voice.NoticeTitle(kind, settled, n.Bay)
	m.Text, m.WhatToDo = o.voice.Notice(kind, settled, n.Picture)
	o.sender.Offer(&m)
}

// buildNotices creates the sender if mail or webhooks are configured.
func (a *Agent) buildNotices() error {
	c := a.Config.Notify
	if c == nil || len(c.Mail)+len(c.Webhooks) == 0 {
		return nil
	}
	ways, err := ways(c)
	if err != nil {
		return usage.Error(err)
	}
	quiet, _ := notify.ParseQuiet(c.QuietHours) // checked with the configuration
	voice := words.New(a.Config.Language, a.Config.Units)
	a.notices = &noticeOutput{voice: voice, cfg: a.Config, watch: notify.Watches{}}
	a.notices.sender = notify.NewSender(notify.Options{
		Ways: ways, Quiet: quiet, Round: c.DailyRound, Wall: a.Wall, Log: a.Log, Rota: a.rota(),
		Summary: func() notify.Message {
			title, text := voice.Round(a.Config.Site, a.Config.Agent, a.Loop.Pictures(), a.otherBays(voice))
			return notify.Message{Site: a.Config.Site, Agent: a.Config.Agent, Title: title, Text: text, Cautions: cautions(voice, a.Config)}
		},
	})
	return nil
}

// cautions are followed by where help is, for whoever is on the way to a battery.
func cautions(v words.Voice, cfg *config.Config) string {
	return strings.TrimSpace(v.Cautions() + " " + v.SiteAid(cfg.FirstAid.Words()))
}

func ways(c *config.Notify) ([]notify.Way, error) {
	var all []notify.Way
	for _, m := range c.Mail {
		way, err := notify.NewMail(notify.MailOptions(m))
		if err != nil {
			return nil, err
		}
		all = append(all, way)
	}
	for _, h := range c.Webhooks {
		o := notify.WebhookOptions{Name: h.Name, URL: h.URL, Method: h.Method, Body: h.Body, CAFile: h.CAFile}
		for _, header := range h.Headers {
			o.Headers = append(o.Headers, notify.HeaderOptions(header))
		}
		way, err := notify.NewWebhook(o)
		if err != nil {
			return nil, err
		}
		all = append(all, way)
	}
	return all, nil
}

// noticeMetrics counts what happened to the messages.
type noticeMetrics struct{ sender *notify.Sender }

func noticeDesc(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("bayward_notices_"+name, help, []string{"way"}, nil)
}

// Describe implements prometheus.Collector.
func (c noticeMetrics) Describe(out chan<- *prometheus.Desc) { prometheus.DescribeByCollect(c, out) }

// Collect implements prometheus.Collector.
func (c noticeMetrics) Collect(out chan<- prometheus.Metric) {
	for _, n := range c.sender.Counts() {
		count := func(name, help string, v uint64) {
			out <- prometheus.MustNewConstMetric(noticeDesc(name, help), prometheus.CounterValue, float64(v), n.Way)
		}
		count("sent_total", "Notices delivered.", n.Sent)
		count("send_failures_total", "Failed attempts to deliver a notice; each is repeated.", n.Failed)
		count("refused_total", "Notices that the server refused for good.", n.Refused)
		count("dropped_total", "Notices dropped because the queue was full.", n.Dropped)
		out <- prometheus.MustNewConstMetric(noticeDesc("waiting", "Notices waiting for delivery."), prometheus.GaugeValue, float64(n.Waiting), n.Way)
	}
}

package assembly

import (
	"context"
	"slices"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/web"
)

// remembered is how many earlier events of a bay the page shows after a start.
const remembered = 60

// recallAll gives the page the events from before this start. They are only for
// users to read, so no tick and no message waits for it.
func (a *Agent) recallAll(ctx context.Context) error {
	for i := range a.Config.Bays {
		a.recall(ctx, a.Config.Bays[i].Name)
	}
	return nil
}

func (a *Agent) recall(ctx context.Context, bayName string) {
	var events []web.Before
	for r, err := range a.Book.EachEvent(ctx, logbook.Query{Bay: bayName, Newest: true, Limit: remembered}) {
		if ctx.Err() != nil {
			return // the agent is stopping, and the page with it
		}
		if err != nil {
			a.Log.Warn("the page begins without what happened before", "bay", bayName, "err", err)
			return
		}
		ago, ok := a.ago(r.Stamp)
		if at := a.Hardware.Now() - ago; ok && at < a.started { // the page has seen later ones itself
			events = append(events, web.Before{Event: r.Event(at), Text: r.Text})
		}
	}
	slices.Reverse(events)
	a.past.HappenedBefore(bayName, events)
}

// ago returns how long ago a stamp was made: proven within one boot, otherwise
// from two clocks that were set. The page needs it only roughly.
func (a *Agent) ago(s logbook.Stamp) (time.Duration, bool) {
	if gap, proven := a.Gap(s); proven {
		return gap, true
	}
	now, trusted := a.Wall()
	gap := now.Sub(s.Wall)
	return gap, trusted && s.Trusted && gap >= 0
}

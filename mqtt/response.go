package mqtt

import (
	"sync"

	"bayward/agent/order"
	"bayward/agent/view"
	"bayward/agent/words"
)

// Result is the outcome of a command.
type Result string

// The results.
const (
	Done     Result = "done"
	InForce  Result = "in-force" // taken, but not yet on record: a crash would lose it
	Declined Result = "refused"
	Unknown  Result = "unknown" // the bay did not answer
)

// Response is the answer to a command. ID, Order and By are empty if the command
// could not be read that far.
type Response struct {
	Bay    string
	ID     string
	Order  string
	By     string
	Result Result
	Reason Reason       // "" if it is done
	Text   string       // one sentence for people
	Faults []view.Wrong // what the bay refused
	// Cautions are for the person who opens a visit and is about to work on a pack.
	Cautions string
	At       Wall
}

// JSON returns the payload of the response topic.
func (r Response) JSON() ([]byte, error) {
	return encode(responseBody{1, r.Bay, r.ID, r.Order, r.By, r.Result, r.Reason, r.Text, r.Faults, r.Cautions, r.At.stamp(), r.At.Trusted})
}

func (c *Client) response(bayName string, cmd *command, wrong *refusal) Response {
	return Response{
		Bay: bayName, ID: cmd.ID, Order: cmd.name, By: cmd.By,
		Result: Declined, Reason: wrong.reason, Text: wrong.text, At: c.opt.OrderNow(),
	}
}

func (c *Client) done(bayName string, cmd *command, text string) Response {
	r := Response{Bay: bayName, ID: cmd.ID, Order: cmd.name, By: cmd.By, Result: Done, Text: text, At: c.opt.OrderNow()}
	if cmd.Kind == order.VisitOpen {
		r.Cautions = words.EnglishSI().Cautions()
	}
	return r
}

// answer queues a response for the broker.
func (c *Client) answer(bayName string, r Response) {
	payload, err := r.JSON()
	if err != nil {
		c.opt.Log.Error("response is not published", "bay", bayName, "err", err)
		return
	}
	c.answers.put(message{topic: c.opt.Topics.Response(bayName), qos: c.opt.QoS.Response, payload: payload})
	c.stir()
}

// maxAnswers is how many responses wait for the broker. After a longer outage the
// sender is probably gone, and the events record the orders anyway.
const maxAnswers = 64

// answers holds the responses that the broker does not have yet.
type answers struct {
	mu    sync.Mutex // guards the fields below
	queue []message
	shed  int // removed from the front since the last call of first
}

func (a *answers) put(m message) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.queue = append(a.queue, m)
	if len(a.queue) > maxAnswers {
		a.queue = a.queue[1:]
		a.shed++
	}
}

// first returns up to limit of them, oldest first, and keeps them.
func (a *answers) first(limit int) []message {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.shed = 0
	return append([]message(nil), a.queue[:min(limit, len(a.queue))]...)
}

// drop removes n of those that first returned.
func (a *answers) drop(n int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.queue = a.queue[max(0, n-a.shed):]
	a.shed = 0
}

package mqtt

import "time"

// judge decides whether a message is an order that may be carried out, and whose.
// The bay itself still decides whether it accepts the order. The person is nil for
// an open order.
func (c *Client) judge(bayName string, m inbound) (cmd command, who *Person, wrong *refusal) {
	inner, sealed, wrong := unwrap(m.payload)
	if wrong != nil {
		return cmd, nil, wrong
	}
	cmd, wrong = parse(inner)
	switch {
	case wrong != nil:
	case m.retained:
		wrong = refuse(Retained, "the command was retained at the broker and would arrive again at each connection: publish it without retain, and clear the topic")
	case sealed != nil:
		who, wrong = c.judgeSigned(bayName, &cmd, sealed)
	default:
		wrong = c.judgeOpen(bayName, &cmd)
	}
	return cmd, who, wrong
}

// unwrap removes the signature, if there is one. The result is not proven yet.
func unwrap(payload []byte) (inner []byte, sealed *jws, wrong *refusal) {
	var v int
	var compact string
	given := map[string]bool{}
	fields := map[string]field{"v": {&v, "1"}, "jws": {&compact, "a signature in compact form"}}
	wrong = readObject(payload, fields, given)
	if !given["jws"] {
		return payload, nil, nil // parse finds the faults of an open command
	}
	if wrong == nil && v != 1 {
		wrong = refuse(BadField, "field v must be 1, the only version that this agent reads")
	}
	if wrong != nil {
		return nil, nil, wrong
	}
	j, wrong := unpack(compact)
	return j.payload, &j, wrong
}

func (c *Client) judgeOpen(bayName string, cmd *command) *refusal {
	switch {
	case !cmd.open():
		return refuse(Unsigned, "order %s needs a person's signature; only hold and %s do not", cmd.name, askState)
	case cmd.By == "":
		return refuse(BadField, "field by is missing")
	}
	return first(c.judgeAddress(bayName, cmd), c.judgeTime(cmd))
}

// judgeSigned reveals nothing about rights or times before the signature is
// proven.
func (c *Client) judgeSigned(bayName string, cmd *command, sealed *jws) (*Person, *refusal) {
	who, wrong := sealed.signer(c.opt.People)
	switch {
	case wrong != nil:
		return nil, wrong
	case cmd.given["by"] && cmd.By != who.Name:
		return nil, refuse(BadField, "field by must be the signer, or be left out")
	case !cmd.given["to"]:
		return nil, refuse(BadField, "field to is missing: a signed command must name its topic")
	case !cmd.given["time"]:
		return nil, refuse(BadField, "field time is missing: a signed command must contain the time when it was given")
	}
	cmd.By = who.Name
	if wrong := first(c.judgeAddress(bayName, cmd), c.judgeTime(cmd)); wrong != nil {
		return nil, wrong
	}
	if !cmd.open() && who.Right < cmd.Needs() {
		return nil, refuse(NoRight, "the role of this person does not allow the order %s", cmd.name)
	}
	return who, nil
}

// judgeAddress keeps a command for one bay from being replayed to another.
func (c *Client) judgeAddress(bayName string, cmd *command) *refusal {
	if want := c.opt.Topics.Command(bayName); cmd.given["to"] && cmd.to != want {
		return refuse(BadField, "field to is not the topic on which the command arrived, %s", want)
	}
	return nil
}

// judgeTime refuses a command that is too old. It also refuses one from before the
// start, unless a repeat does no harm: the agent no longer knows what was carried
// out then. While the clock is not set it cannot judge an age, and accepts only a
// hold.
func (c *Client) judgeTime(cmd *command) *refusal {
	now := c.opt.OrderNow()
	if cmd.time.IsZero() || !now.Trusted && cmd.open() {
		return nil
	}
	age := now.Time.Sub(cmd.time)
	switch {
	case !now.Trusted:
		return refuse(ClockUnset, "the agent's clock has not been set since it booted, so the age of the command is not known: give the agent a time source, or use its page")
	case age > cmd.expiry:
		return refuse(Stale, "the command is %s old and was valid for %s: is the sender's clock right?", age.Round(time.Second), cmd.expiry)
	case age > time.Since(c.began) && !cmd.open():
		return refuse(Stale, "the command was given before the agent started: send it again with a new id")
	case age < -skew:
		return refuse(NotYet, "the time of the command is %s ahead: is the sender's clock right?", (-age).Round(time.Second))
	}
	return nil
}

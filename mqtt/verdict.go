package mqtt

import "time"

// judge decides whether a message is an order that may be carried out, and
// whose. The bay itself still decides whether it takes it. The person is nil
// for an open order.
func (c *Client) judge(bayName string, m inbound) (cmd command, who *Person, wrong *refusal) {
	inner, sealed, wrong := unwrap(m.payload)
	if wrong != nil {
		return cmd, nil, wrong
	}
	cmd, wrong = parse(inner)
	switch {
	case wrong != nil:
	case m.retained:
		wrong = refuse(Retained, "the command was retained at the broker: it would be given again at each connection; publish it without retain, and clear the topic")
	case sealed != nil:
		who, wrong = c.judgeSigned(bayName, &cmd, sealed)
	default:
		wrong = c.judgeOpen(bayName, &cmd)
	}
	return cmd, who, wrong
}

// unwrap takes the signature off, if there is one. What comes out is not
// proven yet.
func unwrap(payload []byte) (inner []byte, sealed *jws, wrong *refusal) {
	var v int
	var compact string
	given := map[string]bool{}
	fields := map[string]field{"v": {&v, "1"}, "jws": {&compact, "a signature in compact form"}}
	wrong = readObject(payload, fields, given)
	if !given["jws"] {
		return payload, nil, nil // parse finds what is wrong with an open command
	}
	if wrong == nil && v != 1 {
		wrong = refuse(BadField, "field v must be 1: this agent reads no other version")
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
		return refuse(Unsigned, "order %s needs a person's signature; only hold and %s do without", cmd.name, askState)
	case cmd.By == "":
		return refuse(BadField, "field by is missing")
	}
	return first(c.judgeAddress(bayName, cmd), c.judgeTime(cmd))
}

// judgeSigned tells nothing of rights or times before the signature is proven.
func (c *Client) judgeSigned(bayName string, cmd *command, sealed *jws) (*Person, *refusal) {
	who, wrong := sealed.signer(c.opt.People)
	switch {
	case wrong != nil:
		return nil, wrong
	case cmd.given["by"] && cmd.By != who.Name:
		return nil, refuse(BadField, "field by must be the person who signs, or be left out")
	case !cmd.given["to"]:
		return nil, refuse(BadField, "field to is missing: a signed command names the topic that it is for")
	case !cmd.given["time"]:
		return nil, refuse(BadField, "field time is missing: a signed command says when it was given")
	}
	cmd.By = who.Name
	if wrong := first(c.judgeAddress(bayName, cmd), c.judgeTime(cmd)); wrong != nil {
		return nil, wrong
	}
	if !cmd.open() && !who.Right.Allows(cmd.Kind) {
		return nil, refuse(NoRight, "the role of this person does not allow the order %s", cmd.name)
	}
	return who, nil
}

// judgeAddress keeps a command of one bay from being played to another.
func (c *Client) judgeAddress(bayName string, cmd *command) *refusal {
	if want := c.opt.Topics.Command(bayName); cmd.given["to"] && cmd.to != want {
		return refuse(BadField, "field to is another topic than the one that the command came by, %s", want)
	}
	return nil
}

// judgeTime refuses what is too old, and what is from before the start unless a
// repeat does no harm: what was carried out then is not known here any more.
// While the clock is not set no age can be judged, and only a hold passes.
func (c *Client) judgeTime(cmd *command) *refusal {
	now := c.opt.OrderNow()
	if cmd.time.IsZero() || !now.Trusted && cmd.open() {
		return nil
	}
	age := now.Time.Sub(cmd.time)
	switch {
	case !now.Trusted:
		return refuse(ClockUnset, "the clock of the agent has not been set since it booted, so the age of the command is not known: give the agent a source of time, or use its page")
	case age > cmd.expiry:
		return refuse(Stale, "the command is %s old and was good for %s: is the sender's clock right?", age.Round(time.Second), cmd.expiry)
	case age > time.Since(c.began) && !cmd.open():
		return refuse(Stale, "the command was given before the agent started: give it again with a new id")
	case age < -skew:
		return refuse(NotYet, "the time of the command is %s ahead: is the sender's clock right?", (-age).Round(time.Second))
	}
	return nil
}

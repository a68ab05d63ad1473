// Package interlock decides the permit: rules over readings, with the table of
// findings that explain it. It is pure, and everything that is not proven good
// blocks.
//
// Table has everything fixed about a finding, Limits.judge its condition, Evidence
// the numbers that led to it. Interlock.Step is the one state machine of raise
// times, clear times and latches that all findings share. findings.md is generated
// from the table; model/relay.pml models what is between the permit and the
// contactor, model/order.pml what is between an order, or a latch, and the disk, and
// model/raise.pml raise and clear times.
//
// # Conditions that come and go
//
// A raise time is a leaky count of bad time: a bad tick adds the time since the tick
// before, and a good one takes off a quarter of it. A missing reading proves nothing
// good and adds like a bad one. So
//
//   - a condition without a break is raised after its raise time, counted from the last
//     tick that proved the opposite;
//   - one that is bad for a share s of the time, more than a fifth, is raised after at
//     most 4/(5s-1) raise times, however it comes and goes: 2⅔ for every other second,
//     1⅐ for nine seconds of ten;
//   - single disturbed readings, up to one in five, raise nothing whose raise time is two
//     ticks or longer.
//
// A finding clears only by an all-clear without a break. The counts begin at zero after a
// restart, which blocks anyway.
//
// # Adding a finding safely
//
//  1. table.go: add the code at its place among the reasons; people see the first
//     one that blocks. Memories and messages use names, so the order may change;
//     a name never does.
//  2. There too: add the row. State why its times are what they are, and where its
//     limit comes from, or that nothing is published. A finding that blocks is
//     raised within ten seconds and clears no faster than it is raised. Only what
//     someone must look at before the next charge latches.
//  3. conditions.go: judge it. Test for good and let the default be Bad, so that
//     a value that is not a number is bad. A missing reading belongs to its
//     "unknown" finding: return Unjudged, which proves nothing good. Leave a gap
//     between the limit and the all-clear, so that noise does not chatter. If a
//     broken wire takes other readings with it, raise one finding.
//  4. agent/words: its condition, title, what to do and evidence, in each
//     language. If it can come about in several ways, add a Reason in evidence.go
//     and name it in the row. Its figures have the unit of the sensor in the row; for another one
//     see finding.go there.
//  5. cases_test.go here: its condition, and the values of its readings with what
//     each means, written by hand from the words of the table and not from the
//     code; if it latches, also its place in the list of latches and its row in the
//     head of model/order.pml.
//  6. agent/bay/promise_test.go: what forbids a charge, in the oracle; if it
//     latches, history_test.go follows it through restarts by itself.
//  7. agent/campaign: break what it watches, with the longest time it may take.
//     The tests of steps 5 to 7 fail with the name of a finding that they lack.
//  8. dashboards/rules: an alert, for one that blocks or is a danger. go test ./dashboards
//     -run Finding names it. Where it does more than follow the finding, also a test in
//     which it fires; otherwise the next step writes it.
//  9. Regenerate the files made from the table and read the difference:
//     go test ./agent/interlock ./agent/metrics ./mqtt ./dashboards -update, and then go test
//     ./agent/web -update.
//  10. go run ./deploy/mutate agent/interlock: a test must fail for every changed comparison
//     of the new condition. A mutant that changes nothing goes on the list in
//     deploy/mutate with its proof.
//  11. BAYWARD_STEPS=10000000 go test ./agent/bay -run 'Histories|Promise', and for
//     an hour each go test ./agent/bay -fuzzminimizetime 10x -fuzz FuzzStep and FuzzMemory.
//
// Edited by hand, counted on a finding on inputs that exist: table.go, the file of its
// condition, en.json, es.json, cases_test.go, promise_test.go, campaign_test.go, and
// rules/bayward.yaml: eight, or seven without an alert. Step 9 renews seven more. For
// one with a sensor of its own see package sensors.
package interlock

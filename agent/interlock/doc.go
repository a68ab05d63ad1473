// Package interlock decides the permit: rules over readings, with the table of
// findings that explain it. It is pure, and everything that is not proven good
// blocks.
//
// Table has everything that is fixed about a finding, Limits.judge its
// condition, Explain its sentence, and Interlock.Step the one machine of raise
// times, clear times and latches that all share. findings.md is made from the
// table; model/relay.pml is what stands between the permit and the contactor.
//
// # Adding a finding safely
//
//  1. rule.go: add the code where it shall stand among the reasons; the first
//     that blocks is the one that people see. Memories and messages use names,
//     so the order may change; a name never does.
//  2. table.go: add the row. Say why its times are what they are, and where its
//     limit comes from, or that nothing is published. One that blocks is raised
//     within ten seconds, and clears no faster than it is raised. Only what a
//     person must look at before the next charge latches.
//  3. conditions.go: judge it. Test what is good, and let the default be Bad, so
//     that what is no number is bad. A reading that is missing is the unknown
//     finding's matter: return Unjudged, which proves nothing good. Leave room
//     between the limit and the all-clear, so that noise does not chatter. If a
//     broken wire takes other readings along, tell one finding.
//  4. evidence.go: say it in one sentence with the numbers that led to it.
//  5. Tests here: its condition in the map of permit_test.go, its sentence in
//     table_test.go, its values in enumerate_test.go with what each means,
//     written by hand from the words of the table and not from the code; if it
//     latches, also its row in the head of model/relay.pml.
//  6. agent/bay/promise_test.go: what forbids a charge, in the oracle; if it
//     latches, history_test.go follows it through restarts by itself.
//  7. agent/campaign: break what it looks at, with the longest time it may take.
//     The tests of steps 5 to 7 fail with the name of a finding that they lack.
//  8. Write what is made from the table anew and read the difference:
//     go test ./agent/interlock ./agent/metrics -update.
//  9. go run ./deploy/mutate: every comparison of the new condition must be
//     missed by a test. A mutant that does the same goes on the list in
//     deploy/mutate with its proof.
//  10. BAYWARD_STEPS=10000000 go test ./agent/bay -run 'Histories|Promise', and
//     for an hour each go test ./agent/bay -fuzz FuzzStep and -fuzz FuzzMemory.
package interlock

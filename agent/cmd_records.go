package main

type recordsCmd struct {
	List    recordsListCmd    `cmd:"" help:"List packs, charges, visits, corrections, findings, refusals or events."`
	Show    recordsShowCmd    `cmd:"" help:"Show one charge, visit, finding or refusal with all it has."`
	Export  recordsExportCmd  `cmd:"" help:"Print one table of the record as CSV or JSON."`
	Report  recordsReportCmd  `cmd:"" help:"Print the record of one pack as a page for paper."`
	Verify  recordsVerifyCmd  `cmd:"" help:"Report whether the chain over charges, visits and signed commissioning records holds, and the memories are whole."`
	Import  recordsImportCmd  `cmd:"" help:"Take in history that was kept by hand; only checks, unless told to write."`
	Dataset recordsDatasetCmd `cmd:"" help:"Write the record of bays without names and dates, to give away."`
	Backup  recordsBackupCmd  `cmd:"" help:"Copy the whole logbook to a file, also while an agent runs."`
}

// Help is the long text of --help.
func (recordsCmd) Help() string {
	return `The record is the logbook that bayward run writes. All of these only read it, also while an agent runs. ` +
		`Name the logbook with --logbook FILE, or the configuration that names it with --config FILE.

Times for people are in the zone of the machine, with that zone; tables for programs are in UTC. One that was stamped before the clock was set is marked, since it may be wrong by years. What is not known is left out, never 0.`
}

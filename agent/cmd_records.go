package main

type recordsCmd struct {
	List    recordsListCmd    `cmd:""`
	Show    recordsShowCmd    `cmd:""`
	Export  recordsExportCmd  `cmd:""`
	Report  recordsReportCmd  `cmd:""`
	Verify  recordsVerifyCmd  `cmd:""`
	Import  recordsImportCmd  `cmd:""`
	Dataset recordsDatasetCmd `cmd:""`
	Backup  recordsBackupCmd  `cmd:""`
}

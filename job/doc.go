// Package job is the job: the folder a technician fills (one job file, capture
// files beside it), and later the record every step is written to.
//
// A job folder is read, never written: only "procedure run" and "import" append,
// under record/.
package job

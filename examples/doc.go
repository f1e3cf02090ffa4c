// Package examples embeds the job folders of this directory, so that the demo can
// replay them from the one binary. Each folder has a README that says what the tool
// should find, and recordings keep their licence beside them.
package examples

import "embed"

// Folders holds every example: NAME/job.yaml and NAME/captures/.
//
//go:embed */job.yaml */captures
var Folders embed.FS

// Package deploy holds what is installed beside the program. Its only Go content is the demo's site, which the
// program carries inside.
package deploy

import _ "embed"

// DemoSite is the configuration of `aliquot demo`.
//
//go:embed sites/demo.yaml
var DemoSite []byte

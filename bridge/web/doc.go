// Package web shows the service to people and to supervisors over HTTP: /healthz, /readyz, /metrics (a handler
// passed in), /state.json and one status page.
//
// It only reads, and it only reads snapshots: no request changes anything, and none waits for the goroutine that
// doses. It decides nothing but how things look. Requests that change something come over MQTT.
package web

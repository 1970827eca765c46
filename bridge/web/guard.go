package web

import (
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"strings"
)

// guarded lets nobody in who does not know the token: as a bearer token (RFC 6750), or as the password of any user name
// (RFC 7617), which a browser asks for by itself. Supervisors may ask whether the service lives without it.
func guarded(token string, next http.Handler) http.Handler {
	if token == "" {
		return next
	}
	want := sha256.Sum256([]byte(token))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got := sha256.Sum256([]byte(tokenOf(r)))
		if r.URL.Path == "/healthz" || subtle.ConstantTimeCompare(got[:], want[:]) == 1 {
			next.ServeHTTP(w, r)
			return
		}
		w.Header().Set("WWW-Authenticate", `Basic realm="aliquot: the token is the password", charset="UTF-8"`)
		http.Error(w, "this page asks for the token of http.token_file: as the password of any user name, or as a bearer token", http.StatusUnauthorized)
	})
}

// tokenOf reads what a request brings along, empty if nothing.
func tokenOf(r *http.Request) string {
	if _, password, ok := r.BasicAuth(); ok {
		return password
	}
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	if strings.EqualFold(scheme, "Bearer") {
		return strings.TrimSpace(token)
	}
	return ""
}

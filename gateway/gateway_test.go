package gateway_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/gateway"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/fault"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// house is a whole node behind HTTP.
type house struct {
	t         testing.TB
	node      *eventstore.Node
	url       string
	client    *http.Client
	registrar access.SignIn
	miner     access.SignIn
	trouble   atomic.Pointer[eventstore.TroubleError]
}

func open(t testing.TB, limits server.Limits) *house {
	t.Helper()
	h := &house{t: t, node: storetest.NewNode(t, eventstore.NewCodec(stream.Events()...), view.All()...)}
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	all, err := services.New(h.node, key)
	if err != nil {
		t.Fatal(err)
	}
	h.registrar = accesstest.Join(t, h.node, "coop", memberv1.Role_ROLE_REGISTRAR)
	h.miner = accesstest.Join(t, h.node, "m1", memberv1.Role_ROLE_MINER)
	grpc, err := server.New(server.Config{
		Register: all.Register, Guard: all.Guard, Trouble: h.trouble.Load, Limits: limits,
		Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := grpc.InProcess()
	if err != nil {
		t.Fatal(err)
	}
	handler, err := gateway.New(t.Context(), conn)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(handler)
	s.Config = gateway.Server(handler)
	s.Start()
	t.Cleanup(func() {
		s.Close()
		conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		grpc.Stop(ctx)
	})
	h.url, h.client = s.URL, s.Client()
	return h
}

// answer is an HTTP answer with its JSON.
type answer struct {
	code   int
	header http.Header
	body   map[string]any
	text   string
}

func (h *house) call(method, path, token string, body io.Reader) answer {
	h.t.Helper()
	req, err := http.NewRequestWithContext(h.t.Context(), method, h.url+path, body)
	if err != nil {
		h.t.Fatal(err)
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := h.client.Do(req)
	if err != nil {
		h.t.Fatal(err)
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	a := answer{code: resp.StatusCode, header: resp.Header, text: string(data)}
	if err := json.Unmarshal(data, &a.body); err != nil {
		h.t.Fatalf("%s %s answers %d with no JSON: %q", method, path, a.code, data)
	}
	return a
}

func (h *house) get(path, token string) answer { return h.call(http.MethodGet, path, token, nil) }

func (h *house) post(path, token, body string) answer {
	return h.call(http.MethodPost, path, token, strings.NewReader(body))
}

// token signs in over HTTP.
func (h *house) token(as access.SignIn) string {
	h.t.Helper()
	assertion, err := access.SignAssertion(as.Key, as.Person, as.Member, as.Coop, time.Now())
	if err != nil {
		h.t.Fatal(err)
	}
	a := h.post("/v1/token", "", `{"assertion":"`+assertion+`"}`)
	token, _ := a.body["token"].(string)
	if a.code != http.StatusOK || token == "" {
		h.t.Fatalf("sign-in answers %d: %s", a.code, a.text)
	}
	return token
}

// reason finds the ErrorInfo among a google.rpc.Status's details.
func (a answer) reason() string {
	details, _ := a.body["details"].([]any)
	for _, d := range details {
		if d, _ := d.(map[string]any); d["@type"] == "type.googleapis.com/google.rpc.ErrorInfo" {
			reason, _ := d["reason"].(string)
			return reason
		}
	}
	return ""
}

func (a answer) refused(t *testing.T, code int, reason string) {
	t.Helper()
	if a.code != code || a.reason() != reason {
		t.Fatalf("answers %d for %q, want %d for %q: %s", a.code, a.reason(), code, reason, a.text)
	}
	if fault.Reason(reason).About() == "" {
		t.Fatalf("%s stands nowhere in the catalogue", reason)
	}
	if message, _ := a.body["message"].(string); message == "" {
		t.Fatalf("no message: %s", a.text)
	}
}

func TestGateway(t *testing.T) {
	h := open(t, server.Limits{})
	registrar, miner := h.token(h.registrar), h.token(h.miner)

	t.Run("OK: who am I", func(t *testing.T) {
		a := h.get("/v1/whoami", miner)
		if a.code != http.StatusOK || a.body["person_id"] != h.miner.Person || a.body["member_id"] != h.miner.Member {
			t.Fatalf("answers %d: %s", a.code, a.text)
		}
		if _, ok := a.body["position"].(string); !ok {
			t.Fatalf("position is no string: %s", a.text)
		}
	})
	t.Run("OK: record a field and list it", func(t *testing.T) {
		a := h.post("/v1/coop/fields", registrar, `{"request_id":"r1","name":"Long Ridge"}`)
		if a.code != http.StatusOK {
			t.Fatalf("answers %d: %s", a.code, a.text)
		}
		position, _ := a.body["position"].(string)
		a = h.get("/v1/coop/fields?page_size=1&min_position="+position, miner)
		fields, _ := a.body["fields"].([]any)
		if a.code != http.StatusOK || len(fields) != 1 || fields[0].(map[string]any)["name"] != "Long Ridge" {
			t.Fatalf("answers %d: %s", a.code, a.text)
		}
	})

	for _, c := range []struct {
		name, token, body string
		code              int
		reason            string
	}{
		{"refused: without a token", "", `{}`, 401, "TOKEN_MISSING"},
		{"refused: with another's token", "x.y.z", `{}`, 401, "TOKEN_INVALID"},
		{"refused: without the role", miner, `{"request_id":"r2","name":"x"}`, 403, "ROLE_MISSING"},
		{"refused: fields that break their rules", registrar, `{"request_id":"no spaces"}`, 400, "INVALID_REQUEST"},
		{"refused: an unknown field", registrar, `{"request_id":"r3","name":"x","colour":"red"}`, 400, "MALFORMED_REQUEST"},
		{"refused: a field of another type", registrar, `{"request_id":"r3","name":7}`, 400, "MALFORMED_REQUEST"},
		{"refused: a field twice", registrar, `{"request_id":"r3","name":"x","name":"y"}`, 400, "MALFORMED_REQUEST"},
		{"refused: half of the JSON", registrar, `{"request_id":"r3","name":`, 400, "MALFORMED_REQUEST"},
		{"refused: more after the JSON", registrar, `{"request_id":"r3","name":"x"} {}`, 400, "MALFORMED_REQUEST"},
		{"refused: a list", registrar, `[]`, 400, "MALFORMED_REQUEST"},
		{"refused: a form", registrar, `request_id=r3&name=x`, 400, "MALFORMED_REQUEST"},
		{"refused: a request id used before", registrar, `{"request_id":"r1","name":"Short Ridge"}`, 409, "REQUEST_ID_REUSED"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h.post("/v1/coop/fields", c.token, c.body).refused(t, c.code, c.reason)
		})
	}

	t.Run("refused: every field that is wrong is named", func(t *testing.T) {
		a := h.post("/v1/coop/fields", registrar, `{"request_id":"no spaces"}`)
		for _, field := range []string{"request_id", "name"} {
			if !strings.Contains(a.text, `"field":"`+field+`"`) {
				t.Errorf("%s is not named: %s", field, a.text)
			}
		}
	})
	t.Run("refused: a body over 1 MiB", func(t *testing.T) {
		h.post("/v1/coop/fields", registrar, `{"name":"`+strings.Repeat("x", 1<<20)+`"}`).refused(t, 413, "REQUEST_TOO_LARGE")
	})
	t.Run("refused: a body over 1 MiB that doesn't say so", func(t *testing.T) {
		body := io.MultiReader(strings.NewReader(`{"name":"`), bytes.NewReader(bytes.Repeat([]byte("x"), 2<<20)))
		h.call(http.MethodPost, "/v1/coop/fields", registrar, body).refused(t, 413, "REQUEST_TOO_LARGE")
	})
	t.Run("refused: a parameter that isn't there", func(t *testing.T) {
		h.get("/v1/coop/fields?contry=x", miner).refused(t, 400, "MALFORMED_REQUEST")
	})
	t.Run("refused: a parameter that is no number", func(t *testing.T) {
		h.get("/v1/coop/fields?page_size=many", miner).refused(t, 400, "MALFORMED_REQUEST")
	})
	t.Run("refused: a page token of another list", func(t *testing.T) {
		h.get("/v1/coop/fields?page_token=AAAA", miner).refused(t, 400, "PAGE_TOKEN_INVALID")
	})
	t.Run("refused: a path that isn't there", func(t *testing.T) {
		h.get("/v1/coop/secrets", registrar).refused(t, 404, "PATH_NOT_FOUND")
		h.get("/", "").refused(t, 404, "PATH_NOT_FOUND")
	})
	t.Run("refused: a verb that isn't the path's", func(t *testing.T) {
		a := h.call(http.MethodDelete, "/v1/coop/fields", registrar, nil)
		a.refused(t, 405, "METHOD_NOT_ALLOWED")
	})
	t.Run("refused: a verb in a header", func(t *testing.T) {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, h.url+"/v1/whoami", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("X-HTTP-Method-Override", "GET")
		req.Header.Set("Authorization", "Bearer "+miner)
		resp, err := h.client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusMethodNotAllowed {
			t.Fatalf("answers %d", resp.StatusCode)
		}
	})
	t.Run("refused: a token smuggled in as metadata", func(t *testing.T) {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, h.url+"/v1/whoami", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Grpc-Metadata-Authorization", "Bearer "+miner)
		resp, err := h.client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusUnauthorized {
			t.Fatalf("answers %d", resp.StatusCode)
		}
	})
	t.Run("every answer tells browsers to keep their hands off", func(t *testing.T) {
		for _, a := range []answer{h.get("/v1/whoami", miner), h.get("/v1/whoami", ""), h.get("/nothing", ""), h.get("/healthz", "")} {
			for name, want := range map[string]string{
				"X-Content-Type-Options":  "nosniff",
				"Cache-Control":           "no-store",
				"Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
				"Referrer-Policy":         "no-referrer",
				"Content-Type":            "application/json",
			} {
				if got := a.header.Get(name); got != want {
					t.Errorf("%s is %q", name, got)
				}
			}
			for name := range a.header {
				if strings.HasPrefix(name, "Grpc-") {
					t.Errorf("header %s goes out", name)
				}
			}
		}
	})
	t.Run("401 names the scheme", func(t *testing.T) {
		if got := h.get("/v1/whoami", "").header.Get("WWW-Authenticate"); !strings.HasPrefix(got, "Bearer") {
			t.Fatalf("WWW-Authenticate is %q", got)
		}
	})
}

func TestRetryAfter(t *testing.T) {
	h := open(t, server.Limits{Member: server.Rate{PerSecond: 0.1, Burst: 1}})
	token := h.token(h.miner)
	if a := h.get("/v1/whoami", token); a.code != http.StatusOK {
		t.Fatalf("answers %d: %s", a.code, a.text)
	}
	a := h.get("/v1/whoami", token)
	a.refused(t, http.StatusTooManyRequests, "TOO_MANY_REQUESTS")
	if got := a.header.Get("Retry-After"); got != "10" {
		t.Fatalf("Retry-After is %q", got)
	}
}

// The limit by address holds for the address that the gateway sees, whatever a
// caller says of it. Here that is loopback, which isn't counted.
func TestForwarded(t *testing.T) {
	h := open(t, server.Limits{Address: server.Rate{PerSecond: 0.001, Burst: 1}})
	for _, name := range []string{"X-Forwarded-For", "Grpc-Metadata-X-Forwarded-For"} {
		for range 3 {
			req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, h.url+"/v1/whoami", nil)
			if err != nil {
				t.Fatal(err)
			}
			req.Header.Set(name, "203.0.113.9")
			resp, err := h.client.Do(req)
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if resp.StatusCode != http.StatusUnauthorized {
				t.Fatalf("with %s it answers %d", name, resp.StatusCode)
			}
		}
	}
}

func TestHealthz(t *testing.T) {
	h := open(t, server.Limits{})
	if a := h.get("/healthz", ""); a.code != http.StatusOK || a.body["status"] != "SERVING" {
		t.Fatalf("answers %d: %s", a.code, a.text)
	}
	h.trouble.Store(&eventstore.TroubleError{Reason: "a gap"})
	if a := h.get("/healthz", ""); a.code != http.StatusServiceUnavailable || a.body["status"] != "NOT_SERVING" {
		t.Fatalf("answers %d: %s", a.code, a.text)
	}
}

package bot

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Turns takes turns and keeps what they decided. Its errors wrap the store's.
type Turns interface {
	ID(clinic string, a contact.Address) contact.ID
	Do(ctx context.Context, r *care.Rules, id contact.ID, e care.Event) (care.Result, error)
	DoLine(ctx context.Context, r *care.Rules, practitioner string, e care.LineEvent) (care.LineResult, error)
	OpenItems(ctx context.Context, clinic string) ([]care.Item, error)
}

// ServerOptions are what a Server needs. All but Deadline must be set.
type ServerOptions struct {
	Directory *Directory
	Turns     Turns
	Metrics   *Metrics
	Log       *slog.Logger
	Now       func() time.Time
	// Deadline is how long one request may take until the provider is told to
	// try again; 0 is 5 s. Twilio waits 15 s (its error 11205). The Redis client
	// must heed contexts (ContextTimeoutEnabled).
	Deadline time.Duration
}

// hookDeadline leaves a provider that waits 15 s time enough to hear the answer.
const hookDeadline = 5 * time.Second

// Server answers the providers' requests:
//
//	POST /hook/{clinic}/{channel}         somebody wrote
//	POST /hook/{clinic}/{channel}/status  what became of a message of ours
//
// 200 or 204 means that everything was kept, now or before. 503 and 500 ask the
// provider to try again; nothing is half kept then. 400, 403, 404 and 413 refuse
// for good. Refusals have no body: nothing that came in goes back out.
type Server struct {
	ServerOptions
	echo *echo.Echo
}

// NewServer returns a server for every clinic of a directory.
func NewServer(o ServerOptions) (*Server, error) {
	if o.Directory == nil || o.Turns == nil || o.Metrics == nil || o.Log == nil || o.Now == nil {
		return nil, errors.New("the webhook server lacks its directory, turns, metrics, log or clock")
	}
	if o.Deadline <= 0 {
		o.Deadline = hookDeadline
	}
	s := &Server{ServerOptions: o, echo: echo.New()}
	s.echo.HideBanner, s.echo.HidePort = true, true
	// No address is needed here; this keeps echo from believing X-Forwarded-For.
	s.echo.IPExtractor = echo.ExtractIPDirect()
	s.echo.HTTPErrorHandler = s.failed
	s.echo.POST("/hook/:clinic/:channel", func(c echo.Context) error { return s.hook(c, MessageHook) })
	s.echo.POST("/hook/:clinic/:channel/status", func(c echo.Context) error { return s.hook(c, StatusHook) })
	s.echo.GET("/hook/:clinic/:channel", s.handshake)
	return s, nil
}

// handshake answers a provider that asks whether this address is its channel's.
func (s *Server) handshake(c echo.Context) error {
	out := s.Directory.outlet(c.Param("clinic"), c.Param("channel"))
	if out == nil {
		return echo.NewHTTPError(http.StatusNotFound)
	}
	asked, ok := out.Channel.(Handshaker)
	if !ok {
		return echo.NewHTTPError(http.StatusMethodNotAllowed)
	}
	a, err := asked.Handshake(c.Request().URL.RawQuery)
	if err != nil {
		status, _ := refusal(err)
		return echo.NewHTTPError(status)
	}
	return c.Blob(http.StatusOK, a.ContentType, a.Body)
}

// ServeHTTP implements http.Handler.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.echo.ServeHTTP(w, r) }

// failed answers what no hook answered: only a status, never words.
func (s *Server) failed(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	status := http.StatusInternalServerError
	var known *echo.HTTPError
	if errors.As(err, &known) {
		status = known.Code
	}
	if c.NoContent(status) != nil {
		s.Log.Warn("webhook: the answer could not be written", "status", status)
	}
}

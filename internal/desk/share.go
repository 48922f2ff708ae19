package desk

import (
	"mime"
	"net/http"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/record"
)

// referralPaper answers with the summary for a physiotherapist or
// hydrotherapist; ?numbers=yes shows telephone numbers too.
func (d *Desk) referralPaper(v *visit) error {
	return d.paper(v, "the referral summary", record.Referral)
}

// referralText answers with the same summary as plain text.
func (d *Desk) referralText(v *visit) error {
	b, _, err := d.written(v, "the referral summary as text", record.ReferralText)
	if err != nil {
		return err
	}
	return v.Blob(http.StatusOK, "text/plain; charset=utf-8", b)
}

// asFile makes the browser keep an answer as a file.
func asFile(v *visit, name string) {
	v.Response().Header().Set(echo.HeaderContentDisposition, mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

package email

import (
	"html/template"
	"strings"
)

// notValidated stands in every mail that shows an index.
const notValidated = "The index is Gaitpost's own and not a validated instrument."

// page is what the HTML part shows.
type page struct {
	Subject, Practice string
	Lines             []pageLine
	Paragraphs        []string
	Digest            bool
}

type pageLine struct {
	Text    string
	Picture string // name of the embedded file, "" for none
	Reply   string
}

// plain is the text part: the same words, with what a mail has room for.
func (p *page) plain(text string) string {
	var b strings.Builder
	b.WriteString(text + "\n\n")
	if len(p.Lines) > 0 {
		b.WriteString("By text, " + p.Lines[0].Reply + " takes the first on; LIST shows what is open.\n")
	}
	b.WriteString(notValidated + "\n")
	if p.Digest {
		b.WriteString("Text MAIL OFF to have digests by text instead.\n")
	}
	b.WriteString("-- \n" + p.Practice + "\n")
	return b.String()
}

// Note says it to the template.
func (p *page) Note() string { return notValidated }

// CID is the address of an embedded picture.
func (l pageLine) CID() template.URL { return template.URL("cid:" + l.Picture) }

var layout = template.Must(template.New("mail").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{.Subject}}</title></head>
<body style="margin:0;padding:24px;font:16px/1.5 sans-serif;color:#1f242b;background:#ffffff">
<h1 style="font-size:19px;margin:0 0 16px">{{.Subject}}</h1>
{{range .Paragraphs}}<p style="margin:0 0 12px">{{.}}</p>
{{end}}{{if .Lines}}<ol style="list-style:none;margin:0;padding:0">
{{range .Lines}}<li style="margin:0 0 18px;padding:0 0 18px;border-bottom:1px solid #cfd5db">
<p style="margin:0 0 6px">{{.Text}}</p>
<p style="margin:0;color:#4a525b;font-size:14px">By text: {{.Reply}} takes it on.</p>
{{if .Picture}}<img src="{{.CID}}" width="640" height="320" alt="Course of the index, described above" style="max-width:100%;height:auto;margin-top:10px">
{{end}}</li>
{{end}}</ol>
{{end}}<p style="color:#4a525b;font-size:14px;margin:16px 0 0">{{.Note}}{{if .Digest}} Text MAIL OFF to have digests by text instead.{{end}}</p>
<p style="color:#4a525b;font-size:14px;margin:4px 0 0">{{.Practice}}</p>
</body></html>
`))

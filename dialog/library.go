package dialog

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"sort"
	"strings"
)

//go:embed scripts/*.yaml scripts/*/*.yaml
var builtinFiles embed.FS

// Library holds checked scripts. It is immutable and safe for concurrent use.
type Library struct {
	scripts map[string]*Script
	version string
}

// Builtin returns the embedded scripts, checked. The error is ErrScripts and
// names every problem; with the scripts as released there is none.
func Builtin() (*Library, error) {
	sub, err := fs.Sub(builtinFiles, "scripts")
	if err != nil {
		return nil, fmt.Errorf("read the built-in scripts: %w", err)
	}
	l, problems := load(sub, Languages)
	if len(problems) > 0 {
		return nil, fmt.Errorf("%w: %s", ErrScripts, problems[0])
	}
	return l, nil
}

// Load reads and checks every *.yaml file of a folder as whole scripts, and
// those of its folders named after a language (es/checkin.yaml) as translations
// of them. The library holds the scripts that could be read, also where there
// are problems.
func Load(fsys fs.FS) (*Library, []Problem) { return load(fsys, nil) }

// load is Load where every script must have the languages given.
func load(fsys fs.FS, languages []string) (*Library, []Problem) {
	l := &Library{scripts: map[string]*Script{}}
	hash := sha256.New()
	files, problems := readFiles(fsys)
	broken := map[string]bool{} // scripts that could not be read whole
	for _, f := range files {
		hash.Write(f.data)
		got, bad := parseScript(f.name, f.data, false)
		problems = append(problems, bad...)
		if got.script == nil || got.script.id == "" {
			continue
		}
		if twin, ok := l.scripts[got.script.id]; ok {
			problems = append(problems, Problem{File: f.name, Line: got.script.at.line, Script: got.script.id,
				Code: "duplicate-script", Message: fmt.Sprintf("the script %s is also in %s", got.script.id, twin.at.file)})
			continue
		}
		l.scripts[got.script.id] = got.script
		broken[got.script.id] = len(bad) > 0
	}
	translations, files, bad := readTranslations(fsys)
	problems = append(problems, bad...)
	for _, f := range files {
		hash.Write(f.data)
	}
	problems = append(problems, l.translate(translations)...)
	for _, id := range l.Scripts() {
		if !broken[id] {
			l.scripts[id].require(languages)
			problems = append(problems, check(l.scripts[id])...)
		}
	}
	l.learn()
	l.version = "scripts-" + hex.EncodeToString(hash.Sum(nil)[:4])
	sortProblems(problems)
	return l, problems
}

// translate lays translations over their scripts.
func (l *Library) translate(list []translation) []Problem {
	var problems []Problem
	for i := range list {
		tr := &list[i]
		s := l.scripts[tr.script]
		if s == nil {
			problems = append(problems, tr.stray(tr.at, "", "there is no script "+tr.script))
			continue
		}
		problems = append(problems, s.translate(tr)...)
	}
	return problems
}

// learn prepares the steps that are new in this library. Those it shares with
// another are in use there and stay as they are.
func (l *Library) learn() {
	for _, s := range l.scripts {
		for _, st := range s.all() {
			if st.used == nil {
				st.learn()
			}
		}
	}
}

// scriptFile is one file as read from disk.
type scriptFile struct {
	name string
	data []byte
}

// readFiles reads the *.yaml and *.yml files of a folder, in order of name.
func readFiles(fsys fs.FS) ([]scriptFile, []Problem) {
	entries, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, []Problem{{File: ".", Code: "unreadable", Message: "the folder of scripts can't be read"}}
	}
	var files []scriptFile
	var problems []Problem
	for _, e := range entries {
		if ext := path.Ext(e.Name()); e.IsDir() || ext != ".yaml" && ext != ".yml" {
			continue
		}
		data, err := fs.ReadFile(fsys, e.Name())
		if err != nil {
			problems = append(problems, Problem{File: e.Name(), Code: "unreadable", Message: "the file can't be read"})
			continue
		}
		files = append(files, scriptFile{e.Name(), data})
	}
	return files, problems
}

// Script returns the script with this id.
func (l *Library) Script(id string) (*Script, bool) {
	s, ok := l.scripts[id]
	return s, ok
}

// Scripts returns the ids of all scripts, sorted.
func (l *Library) Scripts() []string {
	ids := make([]string, 0, len(l.scripts))
	for id := range l.scripts {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

// Version names the contents of all scripts, for the log: two libraries with
// the same version say and do the same.
func (l *Library) Version() string { return l.version }

// Problem is one thing wrong with a script file.
type Problem struct {
	File    string
	Line    int // 1-based; 0 where the file as a whole is meant
	Script  string
	Step    string
	Code    string // kebab-case, such as dead-end
	Message string // a sentence
}

// String writes the problem as "file:line: code: sentence".
func (p Problem) String() string {
	where := p.File
	if p.Line > 0 {
		where = fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return where + ": " + p.Code + ": " + p.Message
}

func sortProblems(problems []Problem) {
	sort.SliceStable(problems, func(i, j int) bool {
		a, b := problems[i], problems[j]
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c < 0
		}
		return a.Line < b.Line
	})
}

package clinic

import (
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// Load reads the settings of every clinic in a directory, or of one file. It
// returns the clinics nothing is wrong with and every problem of all of them,
// sorted by file and line; see AnyWrong.
func Load(name string, getenv func(string) string, builtin *dialog.Library) ([]*Clinic, []Problem) {
	return LoadFrom(SourceAt(name, getenv, builtin))
}

// SourceAt is the source that a directory, or one settings file, stands for.
func SourceAt(name string, getenv func(string) string, builtin *dialog.Library) Source {
	src := Source{Getenv: getenv, ReadFile: os.ReadFile, Scripts: builtin}
	dir := name
	if info, err := os.Stat(name); err == nil && !info.IsDir() {
		dir = filepath.Dir(name)
		src.Only = []string{filepath.Base(name)}
	}
	src.Files = os.DirFS(dir)
	if dir != "." {
		src.Prefix = filepath.ToSlash(dir) + "/"
	}
	return src
}

// LoadFrom is Load from any sources, taken as one deployment.
func LoadFrom(sources ...Source) ([]*Clinic, []Problem) {
	var problems []Problem
	var files []*file
	for i := range sources {
		names, missing := sources[i].names()
		problems = append(problems, missing...)
		for _, name := range names {
			files = append(files, sources[i].read(name))
		}
	}
	between(files)
	var clinics []*Clinic
	for _, f := range files {
		problems = append(problems, f.problems...)
		if !AnyWrong(f.problems) {
			clinics = append(clinics, f.clinic)
		}
	}
	sortProblems(problems)
	return clinics, problems
}

// names lists the settings files, in order.
func (src *Source) names() ([]string, []Problem) {
	if src.Only != nil {
		return src.Only, nil
	}
	entries, err := fs.ReadDir(src.Files, ".")
	if err != nil {
		return nil, []Problem{{File: path.Clean(src.Prefix), Message: "this folder can't be read"}}
	}
	var names []string
	for _, e := range entries {
		ext := path.Ext(e.Name())
		if !e.IsDir() && e.Name()[0] != '.' && (ext == ".yaml" || ext == ".yml") {
			names = append(names, e.Name())
		}
	}
	if len(names) == 0 {
		return nil, []Problem{{File: path.Clean(src.Prefix), Message: "there is no settings file (*.yaml) in this folder"}}
	}
	slices.Sort(names)
	return names, nil
}

func (src *Source) read(name string) *file {
	f := &file{
		src: src, name: src.Prefix + name,
		holders: map[contact.Address]string{}, own: map[contact.Address]place{},
	}
	f.clinic = &Clinic{Rules: defaultRules(), File: f.name, set: map[string]int{}}
	data, err := fs.ReadFile(src.Files, name)
	if err != nil {
		f.wrong(place{}, "this file can't be read", "")
		return f
	}
	if root, ok := f.parse(data); ok {
		f.readAll(root)
	}
	return f
}

// readAll reads every section, and what only shows across sections. One
// section's problems never keep another from being read.
func (f *file) readAll(root place) {
	f.found = f.fields(root)
	r := f.clinic.Rules
	f.readIdentity()
	f.readHours(f.found["hours"])
	closures := f.readClosures(f.found["closures"])
	f.readQuiet(f.found["quiet_hours"])
	f.readChannels(f.found["channels"])
	f.readPractitioners(f.found["practitioners"])
	f.readLead(f.found["lead"])
	f.readRota(f.found["rota"])
	f.readDigest(f.found["digest"])
	f.readCadences(f.found["cadences"])
	f.readThresholds(f.found["thresholds"])
	f.readCosts(f.found["costs"])
	f.readScripts(f.found["scripts"])
	if r.Zone != nil {
		hours, err := cadence.NewHours(r.Zone, f.week.spans, closures)
		if err != nil {
			f.wrongHidden(f.setAt("hours"), sentence(err.Error()))
		}
		r.Hours = hours
	}
	f.clinic.week, f.clinic.closures = f.week, closures
	f.across()
}

func (f *file) readThresholds(p place) {
	if p.node == nil || isEmpty(p.node) {
		return
	}
	sections := map[string]map[string]place{}
	for name, section := range f.fields(p) {
		if !isEmpty(section.node) {
			sections[name] = f.fields(section)
		}
	}
	for _, k := range numberTable {
		f.readNumber(k, sections[k.section][k.name])
	}
	f.readSignsOnlyDays(sections["alerts"]["signs_only_days"])
}

// defaultRules is what holds where a file sets nothing.
func defaultRules() *care.Rules {
	r := &care.Rules{
		Quiet:      cadence.Quiet{From: 21 * 60, To: 8 * 60},
		Thresholds: clinical.DefaultThresholds(),
		Limits:     care.DefaultLimits(),
		KeepYears:  care.DefaultKeepYears,
		Weight:     clinical.DefaultWeightRules(),
		Reminders:  care.DefaultReminderRules(),
		Extras:     care.DefaultExtras(),
	}
	for _, c := range cadenceTable {
		*c.at(&r.Cadences) = mustParse(c.cron, c.gap)
	}
	r.Cadences.Digest = mustParse(defaultDigest, 0)
	return r
}

// mustParse reads an expression of this package's own.
func mustParse(expr string, gap int) cadence.Cadence {
	c, err := cadence.Parse(expr, gap)
	if err != nil {
		panic(fmt.Sprintf("clinic: the default cadence %q: %v", expr, err))
	}
	return c
}

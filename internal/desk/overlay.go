package desk

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"

	"gaitpost/internal/clinic"
)

// OverlayOf makes Options.Overlay from where the settings come from: the changes
// are written into a copy of the clinic's file, which is then read and checked
// as any other.
func OverlayOf(src clinic.Source) func(clinicID string, set map[string]string) (*clinic.Clinic, []string) {
	var files sync.Map // the file's name by the clinic's id
	return func(id string, set map[string]string) (*clinic.Clinic, []string) {
		known, ok := files.Load(id)
		name, _ := known.(string)
		if !ok {
			var err error
			if name, err = fileOf(src, id); err != nil {
				return nil, []string{"The clinic's settings file can't be read."}
			}
			files.Store(id, name)
		}
		data, err := fs.ReadFile(src.Files, name)
		if err != nil {
			return nil, []string{"The clinic's settings file can't be read."}
		}
		changed, err := withChanges(data, set)
		if err != nil {
			return nil, []string{capital(err.Error()) + "."}
		}
		one := src
		one.Only, one.Files = []string{name}, changedFile{src.Files, name, changed}
		list, problems := clinic.LoadFrom(one)
		var sentences []string
		for _, p := range problems {
			if p.Severity == clinic.Wrong {
				sentences = append(sentences, problemText(p))
			}
		}
		if len(sentences) == 0 && len(list) == 1 {
			return list[0], nil
		}
		return nil, sentences
	}
}

// problemText is a problem without the line of a file that nobody sees.
func problemText(p clinic.Problem) string {
	s := p.Key + ": " + p.Message
	if p.Allowed != "" {
		s += "; allowed is " + p.Allowed
	}
	return s + "."
}

// fileOf finds the file of a clinic's settings.
func fileOf(src clinic.Source, id string) (string, error) {
	names := src.Only
	if names == nil {
		entries, err := fs.ReadDir(src.Files, ".")
		if err != nil {
			return "", err
		}
		for _, e := range entries {
			if ext := path.Ext(e.Name()); !e.IsDir() && (ext == ".yaml" || ext == ".yml") {
				names = append(names, e.Name())
			}
		}
	}
	for _, name := range names {
		one := src
		one.Only = []string{name}
		list, _ := clinic.LoadFrom(one)
		if len(list) == 1 && list[0].Rules.Clinic == id {
			return name, nil
		}
	}
	return "", fmt.Errorf("no settings file of clinic %s", id)
}

// withChanges writes values into a settings file at their paths.
func withChanges(data []byte, set map[string]string) ([]byte, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil || len(doc.Content) != 1 {
		return nil, errors.New("the clinic's settings file can't be read")
	}
	for _, key := range slices.Sorted(maps.Keys(set)) {
		if !changeable(key) {
			return nil, fmt.Errorf("%s can't be changed at the desk", key)
		}
		if err := put(doc.Content[0], strings.Split(key, "."), set[key]); err != nil {
			return nil, fmt.Errorf("%s: %w", key, err)
		}
	}
	return yaml.Marshal(&doc)
}

func put(n *yaml.Node, keys []string, value string) error {
	if n.Kind == yaml.ScalarNode && n.Tag == "!!null" {
		*n = yaml.Node{Kind: yaml.MappingNode, Tag: "!!map"}
	}
	if n.Kind != yaml.MappingNode {
		return errors.New("the settings file holds something else there")
	}
	var at *yaml.Node
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == keys[0] {
			at = n.Content[i+1]
		}
	}
	if at == nil {
		at = &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!null"}
		n.Content = append(n.Content, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: keys[0]}, at)
	}
	if len(keys) > 1 {
		return put(at, keys[1:], value)
	}
	return putValue(at, value)
}

// putValue writes a value as a person would have: a list in brackets as a list,
// anything else as one text.
func putValue(at *yaml.Node, value string) error {
	if strings.HasPrefix(value, "[") {
		var list yaml.Node
		if err := yaml.Unmarshal([]byte(value), &list); err != nil || len(list.Content) != 1 || list.Content[0].Kind != yaml.SequenceNode {
			return errors.New("this list can't be read; write it like [3, 10, 21]")
		}
		*at = *list.Content[0]
		return nil
	}
	*at = yaml.Node{Kind: yaml.ScalarNode, Value: value, Style: yaml.DoubleQuotedStyle, Tag: "!!str"}
	return nil
}

// changedFile is a folder in which one file reads otherwise; settings are read
// with fs.ReadFile.
type changedFile struct {
	fs.FS
	name string
	data []byte
}

// ReadFile gives the changed file, or any other as it is.
func (c changedFile) ReadFile(name string) ([]byte, error) {
	if name == c.name {
		return bytes.Clone(c.data), nil
	}
	return fs.ReadFile(c.FS, name)
}

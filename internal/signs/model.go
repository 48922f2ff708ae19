package signs

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"
)

// The statistical model is two logistic regressions over hashed features: is
// there any sign, and, where there is one, is it an emergency. It is trained by
// the tool under train on this project's own invented messages; nothing of it is
// learnt at run time.
const (
	modelFile   = "model.bin"
	modelMagic  = "signs2"
	modelHeader = len(modelMagic) + 1 + 4*4
)

// model holds the weights, in steps of scale.
type model struct {
	flag, emergency           []int8
	flagBias, emergencyBias   float32
	flagScale, emergencyScale float32
}

// loadModel reads the model of the language whose files lie in dir.
func loadModel(fsys fs.FS, dir string) (*model, error) {
	b, err := fs.ReadFile(fsys, dir+"/"+modelFile)
	if err != nil {
		return nil, err
	}
	return readModel(b)
}

// readModel reads what the training tool writes: the magic, the number of bits,
// bias and scale of both heads as little-endian float32, then the weights.
func readModel(b []byte) (*model, error) {
	n := 1 << modelBits
	if len(b) != modelHeader+2*n {
		return nil, fmt.Errorf("it has %d bytes, not %d", len(b), modelHeader+2*n)
	}
	if string(b[:len(modelMagic)]) != modelMagic || b[len(modelMagic)] != modelBits {
		return nil, errors.New("it was made by another version of the training tool")
	}
	float := func(i int) float32 {
		return math.Float32frombits(binary.LittleEndian.Uint32(b[len(modelMagic)+1+4*i:]))
	}
	md := &model{
		flagBias: float(0), flagScale: float(1), emergencyBias: float(2), emergencyScale: float(3),
		flag: make([]int8, n), emergency: make([]int8, n),
	}
	for i := range n {
		md.flag[i] = int8(b[modelHeader+i])
		md.emergency[i] = int8(b[modelHeader+n+i])
	}
	return md, nil
}

// score gives the log-odds that the message holds a sign, and that its sign, if
// it holds one, is an emergency.
func (md *model) score(feats []uint32) (flag, emergency float32) {
	var f, e int32
	for _, i := range feats {
		f += int32(md.flag[i])
		e += int32(md.emergency[i])
	}
	by := float32(dilution(len(feats)))
	return md.flagBias + float32(f)*md.flagScale*by, md.emergencyBias + float32(e)*md.emergencyScale*by
}

// dilution is what each of n features counts for: less in a long message, where
// much talk would else outweigh the one sentence that matters, and as much as
// it is worth in one of some twenty words.
func dilution(n int) float64 { return math.Sqrt(120 / float64(max(n, 20))) }

// thresholds are the log-odds at which the model overrules the lists.
type thresholds struct {
	weight       float32 // how much worse an emergency is to miss than a same-day sign
	flag         float32 // the lists found nothing, the model flags
	raise        float32 // and what it flags is an emergency
	dropSameDay  float32 // the lists found a same-day sign, the model drops it
	raiseSameDay float32 // the same sign is raised to an emergency
	dropEmerg    float32 // the lists found an emergency, the model drops it
}

// loadThresholds reads thresholds.txt of the language whose files lie in dir: a
// name and a number a line, every one of them.
func loadThresholds(fsys fs.FS, dir string) (thresholds, error) {
	var t thresholds
	to := map[string]*float32{
		"weight": &t.weight, "flag": &t.flag, "raise": &t.raise, "drop-same-day": &t.dropSameDay,
		"raise-same-day": &t.raiseSameDay, "drop-emergency": &t.dropEmerg,
	}
	name := dir + "/" + thresholdsFile
	err := readLines(fsys, name, func(line string) error {
		key, value, _ := strings.Cut(line, " ")
		v, err := strconv.ParseFloat(strings.TrimSpace(value), 32)
		if to[key] == nil || err != nil {
			return fmt.Errorf("%q is not a threshold's name and a number, or stands twice", line)
		}
		*to[key] = float32(v)
		delete(to, key)
		return nil
	})
	if err == nil && len(to) > 0 {
		err = fmt.Errorf("%s lacks %d of the six thresholds", name, len(to))
	}
	return t, err
}

const thresholdsFile = "thresholds.txt"

// bareWords is the length of a message up to which the model drops nothing that
// the lists are sure of: with no other words there is nothing to say otherwise.
const bareWords = 5

// grief is how much surer the model must be beside the news of a death, so that
// a bereaved owner is not told to hurry to a vet.
const grief = 1.5

// overrule is the urgency after the model has had its say about what the lists
// alone made of the message.
func (t thresholds) overrule(rules Urgency, flag, emergency float32) Urgency {
	likely := 1 / (1 + math.Exp(-float64(emergency)))
	flag += float32(math.Log(1 + float64(t.weight-1)*likely))
	switch {
	case rules == None && flag < t.flag, rules == SameDay && flag < t.dropSameDay, rules == Emergency && flag < t.dropEmerg:
		return None
	case rules == None && emergency > t.raise, rules == SameDay && emergency > t.raiseSameDay:
		return Emergency
	case rules == None:
		return SameDay
	}
	return rules
}

// weigh lets the model correct what the lists found.
func (m *matcher) weigh(f *Finding, ctx Context) {
	if (f.Euthanasia || f.Distress) && f.Urgency == SameDay {
		return
	}
	flag, emergency := m.lg.model().score(m.features(ctx, f.Urgency))
	if f.Death && f.Urgency == None {
		flag -= grief
	}
	u := m.lg.limit().overrule(f.Urgency, flag, emergency)
	switch {
	case u == f.Urgency:
		return
	case u == None:
		if len(m.rd.toks) > bareWords || f.Ask {
			m.drop(f)
		}
		return
	case f.Urgency == None:
		f.Signs = append(f.Signs, Unclear)
		f.Reason = "The owner's words " + m.weightiest() + " read as a possible sign, though none of the lists names it."
	default:
		f.Reason = f.Reason[:len(f.Reason)-1] + ", and the whole message reads as more urgent than that."
	}
	f.Urgency, f.Ask = u, true
}

// drop takes back what the lists found.
func (m *matcher) drop(f *Finding) {
	f.Urgency, f.Ask, f.Signs = None, false, f.Signs[:0]
	f.Reason = f.Reason[:len(f.Reason)-1] + ", but the rest of the message reads as harmless."
}

// weightiest quotes the few words in a row that speak most for a sign.
func (m *matcher) weightiest() string {
	md, n := m.lg.model(), len(m.rd.toks)
	best, bestAt := int32(math.MinInt32), 0
	for i := range n {
		sum := int32(0)
		for j := i; j < min(i+3, n); j++ {
			h := m.wordHash(&m.rd.toks[j])
			sum += int32(md.flag[bucket(mix(seedWord, h))])
			if j > i {
				sum += int32(md.flag[bucket(mix(seedPair, mix(m.wordHash(&m.rd.toks[j-1]), h)))])
			}
		}
		if sum > best {
			best, bestAt = sum, i
		}
	}
	if n == 0 {
		return "“”"
	}
	ev := evidence{first: bestAt, last: min(bestAt+2, n-1)}
	return m.quote(&ev)
}

package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// maxLine is the longest line of a piped text, in bytes.
const maxLine = 64 << 10

// eachLine reads every line of r and writes what becomes of it to w, one JSON
// object a line. Errors name the line.
func eachLine(r io.Reader, w io.Writer, read func(text string) any) error {
	in := bufio.NewScanner(r)
	in.Buffer(make([]byte, 0, 4096), maxLine+2)
	out := bufio.NewWriter(w)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	line := 0
	for in.Scan() {
		line++
		if err := enc.Encode(read(in.Text())); err != nil {
			return fmt.Errorf("could not write the result of line %d: %w", line, err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("could not write the results: %w", err)
	}
	if err := in.Err(); errors.Is(err, bufio.ErrTooLong) {
		return fmt.Errorf("line %d is longer than %d bytes; the lines before it were read", line+1, maxLine)
	} else if err != nil {
		return fmt.Errorf("could not read line %d: %w", line+1, err)
	}
	return nil
}

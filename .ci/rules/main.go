// Command rules reads alert rules as Prometheus does, and says what is wrong.
package main

import (
	"fmt"
	"os"

	"github.com/prometheus/common/model"
	"github.com/prometheus/common/promslog"
	"github.com/prometheus/prometheus/model/rulefmt"
	"github.com/prometheus/prometheus/promql/parser"
)

func main() {
	bad := false
	for _, file := range os.Args[1:] {
		_, errs := rulefmt.ParseFile(file, false, model.LegacyValidation, parser.NewParser(parser.Options{}), promslog.NewNopLogger())
		for _, err := range errs {
			fmt.Println(err)
			bad = true
		}
	}
	if bad || len(os.Args) < 2 {
		os.Exit(1)
	}
}

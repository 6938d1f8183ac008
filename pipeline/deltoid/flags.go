package main

import (
	"fmt"
	"strings"

	"deltoid/schemas"

	"github.com/spf13/cobra"
)

// wrongFlag says what is wrong with a flag, with the nearest right one. A word before it that is no design of power is
// named first: its flags cannot be known.
func wrongFlag(cmd *cobra.Command, err error) error {
	if args := cmd.Flags().Args(); cmd.Name() == "power" && len(args) > 0 && !strings.Contains(args[0], ".") {
		return usageError{noDesign(args[:1])}
	}
	word, unknown := strings.CutPrefix(err.Error(), "unknown flag: --")
	if !unknown {
		return usageError{err}
	}
	var names []string
	for _, field := range strings.Fields(cmd.Flags().FlagUsages()) {
		if name, ok := strings.CutPrefix(field, "--"); ok {
			names = append(names, name)
		}
	}
	hint := fmt.Sprintf("see %s --help", cmd.CommandPath())
	if near, ok := schemas.Nearest(word, names); ok {
		hint = fmt.Sprintf("did you mean %q?", "--"+near)
	}
	return usageError{fmt.Errorf("there is no flag %q of %s; %s", "--"+word, cmd.CommandPath(), hint)}
}

# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# What the program says of itself, for every command.
. "$PROGRAM_TESTS/run.sh"

run passel --help
# The list of commands is read from the program, so that a new one cannot be forgotten here.
passel --help | sed -n '/^Commands/,/^$/s/^  \([a-z]*\) .*/\1/p' | while read -r command; do
    run passel "$command" --help
done

# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# What the scripts in bash share: . "$PROGRAM_TESTS/run.sh"

# Shows a command, all that it says, and its exit code when that is not 0. Never fails.
run()
{
    local code=0
    printf '$'
    printf ' %s' "$@"
    printf '\n'
    "$@" 2>&1 || code=$?
    [ "$code" = 0 ] || printf '[%d]\n' "$code"
}

# A recipe from standard input, behind the head of a shot: recipe NAME FRAMES SIZE
recipe()
{
    { printf 'shot tiny\n  frames %s\n  size %s\n' "$2" "$3"; cat; } >"$1"
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One quick picture that follows the recipe: made anew whenever the recipe or a file that it reads is saved.
 */
#ifndef COMMAND_WATCH_H
#define COMMAND_WATCH_H

#include <passel/passel.h>

#include "command/command.h"

/* Runs until wish->stop is set. `frame` NULL: the one in the middle of the shot; `scale` 0: the usual one. */
enum exit_code watch_recipe(const struct call *call, const struct passel_render_options *wish, int scale,
                            const char *frame);

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef COMMAND_OPEN_RECIPE_H
#define COMMAND_OPEN_RECIPE_H

#include <passel/passel.h>

#include "command/command.h"

/* Loads the recipe that is the call's first argument, with the call's --set lines; says all messages on stderr. */
enum exit_code open_recipe(const struct call *call, struct passel_recipe **recipe);

#endif

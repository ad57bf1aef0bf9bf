/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A first recipe from what the passes of a folder are taken to be. It renders as it stands; every guess has its reason
 * and how to change it beside it.
 */
#ifndef SURVEY_DRAFT_H
#define SURVEY_DRAFT_H

#include "base/text.h"
#include "survey/portrait.h"

/* `folder` is how the recipe's paths begin ("passes/", or ""); `name` is that of the shot. text->failed when memory is
 * out. PASSEL_BAD_PICTURE when there is no pass to make a picture from. */
enum passel_status draft_write(const struct portraits *portraits, const char *folder, const char *name,
                               struct text *text, struct passel_error *error);

#endif

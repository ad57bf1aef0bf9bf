/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/quick.h"

#include <string.h>

#include "base/error.h"
#include "engine/recipe_handle.h"
#include "kinds/shot.h"

static const char *const sizes[] = { [1] = "full", [2] = "half", [4] = "quarter" };

int quick_size(const char *word)
{
    for (int i = 1; i <= 4; i++) {
        if (sizes[i] != NULL && strcmp(sizes[i], word) == 0)
            return i;
    }
    return 0;
}

int quick_size_for(int32_t width)
{
    return width >= 1920 ? 4 : width >= 960 ? 2 : 1;
}

const char *quick_size_name(int scale)
{
    return sizes[scale];
}

enum passel_status quick_graph(const struct passel_recipe *recipe, int scale, struct graph **graph,
                               struct passel_error *error)
{
    struct shot shot = { 0 };
    struct manner manner = { .scale = scale, .preview = true };
    *graph = NULL;
    if (scale == 0) {
        RETURN_IF_ERROR(shot_read(recipe->recipe, &shot, error));
        manner.scale = quick_size_for(shot.width);
    }
    return graph_make(recipe->recipe, manner, NULL, 0, graph, error);
}

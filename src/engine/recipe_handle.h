/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef ENGINE_RECIPE_HANDLE_H
#define ENGINE_RECIPE_HANDLE_H

#include <passel/passel.h>

#include "kinds/kind.h"

/* What stands behind the public handle; the schemas must outlive the recipe. */
struct passel_recipe {
    struct recipe *recipe;
    const struct schema **schemas;
};

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a render found out serves the next one: an analysis is made once for two renders that share a store, again when
 * its settings change, and by each render for itself without one.
 */
#define _XOPEN_SOURCE 700 /* mkdtemp */

#include <passel/passel.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "engine/recipe_handle.h"
#include "engine/render.h"

static void render(const char *folder, const char *light, const char *seam, struct store *kept)
{
    char path[1024], *messages = NULL;
    struct passel_recipe *recipe = NULL;
    struct passel_error error = { 0 };
    struct graph *graph = NULL;
    const struct passel_render_options options = { .again = true, .threads = 2 };
    (void)snprintf(path, sizeof path, "%s/test.passel", folder);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    (void)fprintf(file,
                  "shot test\n  frames 1-1\n  size 64x60\n"
                  "dusk = ramp\n  from 0 0 px colour 0.1 0.2 0.4\n  to 0 40 px colour 0.6 0.4 0.2\n"
                  "plate = place dusk\n  crop 0 0 64 40 px\n"
                  "sky = extend plate\n  to 64x60\n  keep top\n  by gradient\n  seam %s px\n"
                  "lit = lights\n  light sky %s stops\n"
                  "output lit\n  file out.####.exr\n",
                  seam, light);
    assert_int_equal(fclose(file), 0);
    if (passel_recipe_load(path, NULL, 0, &recipe, &messages, &error) != PASSEL_OK)
        fail_msg("%s", messages != NULL ? messages : error.text);
    if (graph_make(recipe->recipe, (struct manner){ .scale = 1 }, NULL, 0, &graph, &error) != PASSEL_OK ||
        render_range(graph, &options, kept, NULL, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    graph_free(graph);
    passel_recipe_free(recipe);
}

static void test_an_analysis_serves_the_next_render(void **state)
{
    char folder[] = "kept-XXXXXX", path[1024];
    struct store kept = { 0 };
    (void)state;
    assert_non_null(mkdtemp(folder));
    render(folder, "+1", "4", &kept);
    const struct stored *first = kept.newest;
    assert_non_null(first);
    assert_non_null(first->found);
    render(folder, "-1", "4", &kept); /* the light is none of the extension's business */
    assert_ptr_equal(kept.newest, first);
    assert_null(first->older);
    render(folder, "-1", "9", &kept);
    assert_ptr_not_equal(kept.newest, first);
    assert_non_null(kept.newest->found);
    assert_ptr_equal(kept.oldest, first);
    store_release(&kept);
    assert_null(kept.newest);
    assert_int_equal(kept.bytes, 0);
    render(folder, "-1", "9", NULL);
    for (int i = 0; i < 2; i++) {
        (void)snprintf(path, sizeof path, "%s/%s", folder, i == 0 ? "test.passel" : "out.0001.exr");
        assert_int_equal(unlink(path), 0);
    }
    assert_int_equal(rmdir(folder), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_an_analysis_serves_the_next_render),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

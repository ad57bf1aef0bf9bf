/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Every allocation of the language fails once, and once for good: always the same status, nothing left behind.
 */
#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"
#include "language/recipe.h"
#include "language_schemas.h"

static const char right[] = "shot storm\n"
                            "  frames 1001-1003, 1010\n"
                            "  # a comment\n"
                            "m\xC3\xA9 = pass \"a b.exr\"\n"
                            "strike = curve\n"
                            "  1 0\n"
                            "  2 1 smooth\n"
                            "night = lights # sum\n"
                            "  light m\xC3\xA9 [1 2, 3 4 smooth] stops tint 1 1 1 off\n"
                            "  light m\xC3\xA9 gain strike\n"
                            "edge = matte night\n"
                            "  choke 0.7 px\n"
                            "output edge as frames\n"
                            "  file a.####.exr\n";

static const char wrong[] = "shot storm\n"
                            "  framse 1001\n"
                            "night = ligths\n"
                            "b = stack\n"
                            "  layer c\n"
                            "c = stack\n"
                            "  layer b oover matte x opacity 1 px\n"
                            "  layer b.shadow\n"
                            "k = key twoscreen\n"
                            "g = gauge\n"
                            "  px 4\n"
                            "  fraction strike\n"
                            "p = place \"b\"\n"
                            "  filter splin\n";

static enum passel_status parse_and_print(void *data)
{
    struct recipe_change changes[] = { { "edge: choke 1 px" }, { "m\xC3\xA9: start 4" }, { "frames: file b.exr" } };
    struct recipe *recipe = NULL;
    struct text messages = { NULL, 0, 0, false }, printed = { NULL, 0, 0, false };
    enum passel_status status =
        recipe_parse("r.passel", data, strlen(data), language_schemas, changes, 3, &recipe, &messages, NULL);
    if (status == PASSEL_OK) {
        recipe_print(recipe, &printed);
        if (printed.failed)
            status = PASSEL_NO_MEMORY;
    }
    recipe_free(recipe);
    text_release(&messages);
    text_release(&printed);
    return status;
}

static void right_recipe(void **state)
{
    (void)state;
    char text[sizeof right];
    memcpy(text, right, sizeof right);
    assert_true(fail_memory_each(parse_and_print, text) > 30);
}

/* What a failing allocation may end in when the recipe is wrong as well. */
static enum passel_status parse_wrong(void *data)
{
    struct recipe_change changes[] = { { "nigth: light b" }, { "shot: frames 1" } };
    struct recipe *recipe = NULL;
    struct text messages = { NULL, 0, 0, false };
    const enum passel_status status =
        recipe_parse("r.passel", data, strlen(data), language_schemas, changes, 2, &recipe, &messages, NULL);
    assert_null(recipe);
    assert_true(status != PASSEL_BAD_RECIPE || messages.length > 0);
    text_release(&messages);
    return status == PASSEL_BAD_RECIPE ? PASSEL_OK : status;
}

static void wrong_recipe(void **state)
{
    (void)state;
    char text[sizeof wrong];
    memcpy(text, wrong, sizeof wrong);
    assert_true(fail_memory_each(parse_wrong, text) > 15);
}

static enum passel_status edit(void *data)
{
    struct text out = { NULL, 0, 0, false };
    const enum passel_status status = recipe_edit("r.passel", right, strlen(right), language_schemas, data, &out, NULL);
    text_release(&out);
    return status;
}

static void edits(void **state)
{
    (void)state;
    char replaced[] = "edge: choke 1 px", added[] = "m\xC3\xA9: start 3";
    assert_true(fail_memory_each(edit, replaced) > 3);
    assert_true(fail_memory_each(edit, added) > 3);
}

/* Finding a block needs no memory; a message that cannot have its excerpt still says what it says. */
static void finding(void **state)
{
    (void)state;
    struct recipe *recipe;
    assert_int_equal(recipe_parse("r", right, strlen(right), language_schemas, NULL, 0, &recipe, NULL, NULL), PASSEL_OK);
    fail_memory_at(1, true);
    const struct block *block = recipe_block(recipe, "me\xCC\x81");
    struct passel_error error;
    recipe_error(recipe, recipe->shot->where, PASSEL_BAD_RECIPE, &error, "x%d", 1);
    fail_memory_never();
    assert_ptr_equal(block, recipe->blocks[1]);
    assert_string_equal(error.text, "x1");
    recipe_free(recipe);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(right_recipe),
        cmocka_unit_test(wrong_recipe),
        cmocka_unit_test(edits),
        cmocka_unit_test(finding),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

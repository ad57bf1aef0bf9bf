/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Changing one line: for one run (--set) and in the text (recipe_edit).
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "language/recipe.h"
#include "language_schemas.h"

static const char night[] = "# head\n"
                            "shot storm\n"
                            "  frames 1001-1048\n"
                            "moon = pass moon.exr\n"
                            "lamp = pass lamp.exr\n"
                            "\n"
                            "night = lights # sum\n"
                            "  light    moon   -1.5 stops   tint 0.75 0.85 1  # cold\n"
                            "  light    lamp   +0.5 stops\n"
                            "\n"
                            "# about the edge\n"
                            "edge = matte moon\n"
                            "  choke  0.7 px\n"
                            "  floor  2%\n"
                            "  floor  4%\n"
                            "strike = curve\n"
                            "  1008 0\n"
                            "  1010 1 smooth\n"
                            "output night as frames\n"
                            "  file a.####.exr\n"
                            "output edge\n"
                            "  file b.####.exr";

/* The text after the edit; the caller's. */
static char *edited(const char *text, const char *change)
{
    static char room[4096];
    struct text out = { NULL, 0, 0, false };
    struct passel_error error;
    if (recipe_edit("r.passel", text, strlen(text), language_schemas, change, &out, &error) != PASSEL_OK)
        fail_msg("'%s' is refused: %s", change, error.text);
    assert_true(out.length < sizeof room);
    memcpy(room, out.bytes, out.length + 1);
    text_release(&out);
    return room;
}

/* The edit takes `old` out of the text, which is there once, and puts `line` in its place; all else stays. */
static void replaces(const char *change, const char *old, const char *line)
{
    char wanted[4096];
    const char *at = strstr(night, old);
    assert_non_null(at);
    const size_t before = (size_t)(at - night);
    memcpy(wanted, night, before);
    strcpy(wanted + before, line);
    strcat(wanted, at + strlen(old));
    assert_string_equal(edited(night, change), wanted);
}

static void one_line_is_replaced(void **state)
{
    (void)state;
    replaces("storm: frames 1-5", "  frames 1001-1048", "  frames 1-5");
    replaces("shot: frames 1-5", "  frames 1001-1048", "  frames 1-5");
    replaces("edge: choke 2 px", "  choke  0.7 px", "  choke  2 px");
    replaces("frames: file c.exr", "  file a.####.exr", "  file c.exr");
    replaces("strike: 1010 3 hold", "  1010 1 smooth", "  1010 3 hold");
    replaces("strike: 1.01e3 3", "  1010 1 smooth", "  1.01e3 3");
}

/* Of a setting that repeats, the line with the same name; comment and columns stay. */
static void names_choose_the_line(void **state)
{
    (void)state;
    replaces("night: light lamp 1 stops", "  light    lamp   +0.5 stops", "  light    lamp   1 stops");
    replaces("night: light moon -2 stops", "  light    moon   -1.5 stops   tint 0.75 0.85 1  # cold",
             "  light    moon   -2 stops  # cold");
    replaces("  night :  light  moon  gain strike tint 1 1 1 # warm",
             "  light    moon   -1.5 stops   tint 0.75 0.85 1  # cold",
             "  light    moon   gain strike  tint 1 1 1  # warm");
}

static void what_is_new_is_added(void **state)
{
    (void)state;
    replaces("storm: rate 25", "  frames 1001-1048", "  frames 1001-1048\n  rate 25");
    replaces("moon: start 4", "moon = pass moon.exr", "moon = pass moon.exr\n  start 4");
    replaces("night: light edge gain 1", "+0.5 stops", "+0.5 stops\n  light edge gain 1");
    replaces("edge: invert", "  floor  4%", "  floor  4%\n  invert");
    replaces("strike: 1009 5", "  1008 0", "  1008 0\n  1009 5");
    replaces("strike: 1000 5", "strike = curve", "strike = curve\n  1000 5");
    replaces("strike: 2000 5", "  1010 1 smooth", "  1010 1 smooth\n  2000 5");
}

static void other_texts_keep_their_form(void **state)
{
    (void)state;
    assert_string_equal(edited("\xEF\xBB\xBFshot s\r\n\tframes\t1 \r\n", "s: frames 2"),
                        "\xEF\xBB\xBFshot s\r\n\tframes 2\r\n");
    assert_string_equal(edited("\xEF\xBB\xBFshot s\r\n\tframes\t1\r\n", "s: rate 2"),
                        "\xEF\xBB\xBFshot s\r\n\tframes\t1\r\n  rate 2\r\n");
    assert_string_equal(edited("shot s", "s: rate 2"), "shot s\n  rate 2");
    assert_string_equal(edited("a = pass a\n", "a: start 2"), "a = pass a\n  start 2\n");
    assert_string_equal(edited("cafe\xCC\x81 = pass a\n", "caf\xC3\xA9: start 2"),
                        "cafe\xCC\x81 = pass a\n  start 2\n");
    /* Mistakes elsewhere do not matter, nor does a bad line. */
    assert_string_equal(edited("a = pas a \"\nb = pass b\n  strat 1\n", "b: start x"),
                        "a = pas a \"\nb = pass b\n  strat 1\n  start x\n");
}

static void refuses(const char *change, const char *message)
{
    struct text out = { NULL, 0, 0, false };
    struct passel_error error;
    assert_int_equal(recipe_edit("r.passel", night, strlen(night), language_schemas, change, &out, &error),
                     PASSEL_BAD_RECIPE);
    if (strstr(error.text, message) == NULL)
        fail_msg("'%s' gives '%s'", change, error.text);
    text_release(&out);
}

static void unclear_edits_are_refused(void **state)
{
    (void)state;
    refuses("edge: floor 5%", "stands 2 times");
    refuses("egde: floor 5%", "did you mean 'edge'?");
    refuses("zzz: floor 5%", "no block is called 'zzz'");
    refuses("output: file x", "2 blocks could be meant");
    refuses("edge", "expected 'BLOCK: SETTING LINE'");
    refuses("", "expected 'BLOCK: SETTING LINE'");
    refuses("edge:", "behind the colon");
    refuses("edge: # x", "behind the colon");
    refuses("edge: \xC2\xA0", "behind the colon");
    refuses("edge: invert\n", "one line");
}

/* ---- for one run ------------------------------------------------------------------------------------------------- */

static struct recipe *parse_with(const char *const *lines, int count)
{
    struct recipe_change changes[8];
    struct recipe *recipe;
    struct text messages = { NULL, 0, 0, false };
    for (int i = 0; i < count; i++)
        changes[i].text = lines[i];
    if (recipe_parse("r.passel", night, strlen(night), language_schemas, changes, count, &recipe, &messages, NULL) !=
        PASSEL_OK)
        fail_msg("refused:\n%s", messages.bytes);
    return recipe;
}

static void changes_are_read(void **state)
{
    (void)state;
    static const char *const lines[] = { "night: light moon gain 3", "storm: rate 25", "moon: start 4",
                                         "night: light moon gain 5", "storm: rate 30", "strike: 1009 0.25" };
    struct recipe *recipe = parse_with(lines, 6);
    const struct block *sum = recipe_block(recipe, "night");
    assert_int_equal(sum->setting_count, 2);
    assert_true(value_at(setting_tag_value(&sum->settings[0], "gain", 0), 0, 0, 1) == 5);
    assert_null(setting_tag(&sum->settings[0], "tint"));
    assert_true(value_at(setting_value(block_setting(recipe->shot, "rate"), 0), 0, 0, 1) == 30);
    assert_true(value_at(setting_value(block_setting(recipe_block(recipe, "moon"), "start"), 0), 0, 0, 1) == 4);
    assert_int_equal(recipe_block(recipe, "strike")->track->count, 3);
    recipe_free(recipe);
}

/* Places in the file keep their line numbers, whatever was added above them; places in a change show the change. */
static void places_are_those_of_the_file(void **state)
{
    (void)state;
    static const char *const lines[] = { "storm: rate 25", "moon: start 4", "edge: choke 3 px", "storm: rate 30" };
    struct recipe *recipe = parse_with(lines, 4);
    struct passel_error error;
    const struct block *edge = recipe_block(recipe, "edge");
    recipe_error(recipe, edge->where, PASSEL_BAD_RECIPE, &error, "here");
    assert_string_equal(error.text, "r.passel:12:1: error: here\n  edge = matte moon\n  ^~~~");
    recipe_error(recipe, setting_value(&edge->settings[0], 0)->where, PASSEL_BAD_RECIPE, &error, "here");
    assert_string_equal(error.text, "--set:3:13: error: here\n  edge: choke 3 px\n              ^~~~");
    recipe_error(recipe, setting_value(&edge->settings[1], 0)->where, PASSEL_BAD_RECIPE, &error, "here");
    assert_string_equal(error.text, "r.passel:14:10: error: here\n    floor  2%\n           ^~");
    const struct value *rate = setting_value(block_setting(recipe->shot, "rate"), 0);
    recipe_error(recipe, rate->where, PASSEL_BAD_RECIPE, &error, "here");
    assert_string_equal(error.text, "--set:4:13: error: here\n  storm: rate 30\n              ^~");
    recipe_free(recipe);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_line_is_replaced),         cmocka_unit_test(names_choose_the_line),
        cmocka_unit_test(what_is_new_is_added),         cmocka_unit_test(other_texts_keep_their_form),
        cmocka_unit_test(unclear_edits_are_refused),    cmocka_unit_test(changes_are_read),
        cmocka_unit_test(places_are_those_of_the_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Recipes printed back: the settled form, comments, and that the print means the same and prints the same.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "language/recipe.h"
#include "language_schemas.h"
#include "recipe_same.h"

static struct recipe *parse(const char *text, size_t length)
{
    struct recipe *recipe;
    struct text messages = { NULL, 0, 0, false };
    if (recipe_parse("r.passel", text, length, language_schemas, NULL, 0, &recipe, &messages, NULL) != PASSEL_OK)
        fail_msg("refused:\n%s\n%s", text, messages.bytes);
    return recipe;
}

/* Prints `text`; the print must be `wanted`, mean the same and print the same. */
static void prints(const char *text, const char *wanted)
{
    struct text first = { NULL, 0, 0, false }, second = { NULL, 0, 0, false };
    struct recipe *recipe = parse(text, strlen(text));
    recipe_print(recipe, &first);
    assert_false(first.failed);
    assert_string_equal(first.bytes != NULL ? first.bytes : "", wanted);
    struct recipe *again = parse(wanted, strlen(wanted));
    recipe_print(again, &second);
    assert_string_equal(second.bytes != NULL ? second.bytes : "", wanted);
    const char *difference = recipe_difference(recipe, again);
    if (difference != NULL)
        fail_msg("printing changes %s:\n%s", difference, wanted);
    recipe_free(recipe);
    recipe_free(again);
    text_release(&first);
    text_release(&second);
}

static void settled_form_stays(void **state)
{
    (void)state;
    static const char storm[] = "passel 1\n"
                                "# Skerry Light, shot 4: the storm.\n"
                                "shot storm\n"
                                "  frames  1001-1048\n"
                                "  rate    24\n"
                                "  size    1920x1080\n"
                                "  lock    moon\n"
                                "\n"
                                "moon = pass passes/moon.####.exr\n"
                                "lamp = pass passes/lamp.####.exr\n"
                                "dark = pass passes/lights-off.exr\n"
                                "bolt = pass passes/flash.####.exr\n"
                                "  use    12-40  then 50-60\n"
                                "  start  1008\n"
                                "\n"
                                "strike = curve\n"
                                "  1008  0\n"
                                "  1010  1     smooth\n"
                                "  1013  0.25  hold\n"
                                "  1014  0.9   smooth\n"
                                "  1024  0\n"
                                "\n"
                                "night = lights\n"
                                "  ambient  dark\n"
                                "  light    moon  -1.5 stops  tint 0.75 0.85 1\n"
                                "  light    lamp  +0.5 stops\n"
                                "  light    bolt  gain strike\n"
                                "\n"
                                "cut = key two-screen\n"
                                "  on  moon  empty lamp\n"
                                "\n"
                                "edge = matte cut.quality\n"
                                "  floor   2%  ceiling 97%\n"
                                "  choke   0.7 px\n"
                                "  invert\n"
                                "\n"
                                "output night as frames\n"
                                "  file  renders/storm.####.exr\n";
    prints(storm, storm);
}

static void spaces_and_units_are_settled(void **state)
{
    (void)state;
    prints("\n\nshot   s\n frames 1-3 ,  5\n\n\n\na=pass   x\np  =place a\n\tmove 1   2px\n\n move [1 0 0,3   4 8 "
           "smooth]px\n"
           " size [1 10% ,2 20] \n size 150 %\n     keep bottom\nc=curve\n 1.50 1\n   10 -.5e1 hold",
           "shot s\n  frames  1-3, 5\n\na = pass x\np = place a\n  move  1 2 px\n  move  [1 0 0, 3 4 8 smooth] px\n"
           "  size  [1 10%, 2 20]\n  size  150%\n  keep  bottom\n\nc = curve\n  1.50  1\n  10    -.5e1  hold\n");
}

static void units_stand_as_they_do(void **state)
{
    (void)state;
    prints(
        "g = gauge\n stops 1stops\n stops [1 1stops, 2 3 smooth]\n percent [1 1,2 3]%\n fraction .5\n fraction 50 %\n"
        " degrees 4deg\n kelvin 1K\n seconds 1s\n nits 1nits\n count 3frames\n text 4px\n text \"4px \\\\ % [\"\n",
        "g = gauge\n  stops     1 stops\n  stops     [1 1 stops, 2 3 smooth]\n  percent   [1 1, 2 3]%\n"
        "  fraction  .5\n  fraction  50%\n  degrees   4 deg\n  kelvin    1 K\n  seconds   1 s\n  nits      1 nits\n"
        "  count     3 frames\n  text      4px\n  text      \"4px \\\\ % [\"\n");
}

static void comments_stay_where_they_belong(void **state)
{
    (void)state;
    prints("  # the very top  \npassel   1 # version\n\n#a paragraph\n\n# of the shot\nshot s # the shot\n"
           "  # of the frames\n\n frames 1   # how many\n# of the rate\n rate 24\n   # still the shot's\n\n  # of a\na "
           "= pass a\n"
           "  # nothing to set\n\n\n\n# alone\n\nb = pass b\n# of c\nc = pass c\n# the end\n\n  # the very end",
           "# the very top\npassel 1  # version\n\n#a paragraph\n\n# of the shot\nshot s  # the shot\n"
           "  # of the frames\n  frames  1  # how many\n  # of the rate\n  rate    24\n  # still the shot's\n\n# of "
           "a\na = pass a\n"
           "  # nothing to set\n\n# alone\n\nb = pass b\n# of c\nc = pass c\n# the end\n\n# the very end\n");
}

static void comments_alone_are_a_recipe(void **state)
{
    (void)state;
    prints("", "");
    prints("\n\n", "");
    prints("# only this", "# only this\n");
    prints("passel 1", "passel 1\n");
}

/* Names of a group share a column; long ones do not move the others, wide letters count twice. */
static void columns_are_those_of_a_screen(void **state)
{
    (void)state;
    prints("a=pass 1.exr\nlonger=pass 2.exr\n\xE7\x81\xAF=pass 3.exr\n"
           "a-name-that-is-so-long-that-nobody-wants-to-see-it=pass 4.exr\n\nalone=pass 5.exr\n",
           "a      = pass 1.exr\nlonger = pass 2.exr\n\xE7\x81\xAF     = pass 3.exr\n"
           "a-name-that-is-so-long-that-nobody-wants-to-see-it = pass 4.exr\n\nalone = pass 5.exr\n");
    prints("a = pass a\nbcd = pass b\ns = stack\n layer a add matte bcd\n layer bcd matte a opacity 40%\n",
           "a   = pass a\nbcd = pass b\ns   = stack\n  layer  a    add      matte bcd\n"
           "  layer  bcd  matte a  opacity 40%\n");
}

static void names_are_printed_composed(void **state)
{
    (void)state;
    prints("cafe\xCC\x81 = pass a\n", "caf\xC3\xA9 = pass a\n");
}

static void other_line_ends_are_settled(void **state)
{
    (void)state;
    prints("\xEF\xBB\xBFshot s\r\n\tframes\t1\t# c\t\r\n", "shot s\n  frames  1  # c\n");
}

/* A change for one run is printed with the rest, in its place. */
static void changes_are_printed(void **state)
{
    (void)state;
    static const char text[] = "shot s\n  frames 1 # c\na = pass a\n";
    const struct recipe_change changes[] = { { "s: frames 5-9" }, { "a: start 3" } };
    struct recipe *recipe;
    struct text out = { NULL, 0, 0, false };
    assert_int_equal(recipe_parse("r.passel", text, strlen(text), language_schemas, changes, 2, &recipe, NULL, NULL),
                     PASSEL_OK);
    recipe_print(recipe, &out);
    assert_string_equal(out.bytes, "shot s\n  frames  5-9  # c\n\na = pass a\n  start  3\n");
    text_release(&out);
    recipe_free(recipe);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(settled_form_stays),          cmocka_unit_test(spaces_and_units_are_settled),
        cmocka_unit_test(units_stand_as_they_do),      cmocka_unit_test(comments_stay_where_they_belong),
        cmocka_unit_test(comments_alone_are_a_recipe), cmocka_unit_test(columns_are_those_of_a_screen),
        cmocka_unit_test(names_are_printed_composed),  cmocka_unit_test(other_line_ends_are_settled),
        cmocka_unit_test(changes_are_printed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

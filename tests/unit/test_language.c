/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a right recipe becomes: blocks, settings, values, and values at a frame.
 */
#include "language/recipe.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "base/memory.h"
#include "language_schemas.h"
#include "scratch.h"

static struct recipe *parse(const char *text)
{
    struct recipe *recipe;
    struct text messages = { NULL, 0, 0, false };
    const enum passel_status status =
        recipe_parse("shots/storm.passel", text, strlen(text), language_schemas, NULL, 0, &recipe, &messages, NULL);
    if (status != PASSEL_OK)
        fail_msg("refused:\n%s", messages.bytes);
    assert_null(messages.bytes);
    return recipe;
}

/* The recipe of design and documentation: a bit of everything. */
static const char storm[] = "passel 1\n"
                            "# Skerry Light, shot 4: the storm.\n"
                            "shot storm\n"
                            "  frames  1001-1003, 1010-1014 every 2\n"
                            "  size    1920x1080\n"
                            "  lock    moon\n"
                            "moon = pass passes/moon.####.exr\n"
                            "bolt = pass \"passes/big flash.exr\"\n"
                            "  use 1-12 then 20-30 then 5\n"
                            "\tstart\t-8\n"
                            "strike = curve\n"
                            "  1008 0\n"
                            "  1010 1 smooth\n"
                            "  1013 0.25 hold\n"
                            "  1014 0.9\n"
                            "night = lights\n"
                            "  light moon -1.5 stops tint 0.75 0.85 1\n"
                            "  light bolt tint [1001 1 0.8 0.6, 1011 1 1 1] off gain strike\n"
                            "cut = key two-screen\n"
                            "    on moon empty bolt\n"
                            " on bolt\n"
                            "edge = matte cut\n"
                            "  floor 2% ceiling 97%\n"
                            "  choke [1001 0, 1011 4 smooth] px\n"
                            "final = stack\n"
                            "  layer night\n"
                            "  layer moon opacity 40% matte cut.shadow add\n"
                            "output final as frames\n"
                            "  file renders/storm.####.exr\n";

static void blocks_are_in_order(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    assert_int_equal(recipe->block_count, 9);
    assert_ptr_equal(recipe->shot, recipe->blocks[0]);
    assert_string_equal(recipe->shot->name, "storm");
    assert_string_equal(recipe->blocks[8]->name, "frames");
    assert_string_equal(recipe->blocks[8]->schema->name, "output");
    assert_string_equal(recipe_block(recipe, "cut")->schema->name, "key two-screen");
    assert_null(recipe_block(recipe, "storm"));
    assert_null(recipe_block(recipe, "frames"));
    assert_null(recipe_block(recipe, "cut.shadow"));
    assert_string_equal(recipe->folder, "shots");
    assert_string_equal(recipe->text, storm);
    for (int i = 0; i < recipe->block_count; i++)
        assert_int_equal(recipe->blocks[i]->index, i);
    assert_int_equal(recipe_block(recipe, "moon")->where.line, 7);
    assert_int_equal(recipe_block(recipe, "moon")->where.length, 4);
    recipe_free(recipe);
}

static void words_and_places_are_kept(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    const struct block *bolt = recipe_block(recipe, "bolt"), *final = recipe_block(recipe, "final");
    assert_string_equal(setting_value(bolt->head, 0)->text, "passes/big flash.exr");
    const struct setting *use = block_setting(bolt, "use");
    assert_int_equal(setting_value(use, 0)->first, 1);
    assert_int_equal(setting_value(use, 0)->last, 12);
    assert_int_equal(use->tag_count, 2);
    assert_int_equal(use->tags[1].values[0].first, 5);
    assert_int_equal(use->tags[1].values[0].last, 5);
    assert_true(value_at(setting_value(block_setting(bolt, "start"), 0), 0, 0, 1) == -8);
    const struct setting *layer = &final->settings[1];
    assert_string_equal(setting_operator(layer), "add");
    assert_null(setting_operator(&final->settings[0]));
    const struct value *matte = setting_tag_value(layer, "matte", 0);
    assert_ptr_equal(matte->block, recipe_block(recipe, "cut"));
    assert_int_equal(matte->picture, 2);
    assert_int_equal(matte->where.line, 27);
    assert_int_equal(matte->where.column, 32);
    assert_int_equal(matte->where.length, 10);
    assert_string_equal(setting_value(recipe->blocks[8]->head, 0)->text, "final");
    recipe_free(recipe);
}

static void missing_things_are_null(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    const struct block *night = recipe_block(recipe, "night");
    const struct setting *bolt = &night->settings[1];
    assert_null(block_setting(night, "ambient"));
    assert_null(setting_value(NULL, 0));
    assert_null(setting_value(bolt, 1));
    assert_null(setting_value(bolt, 2));
    assert_null(setting_value(bolt, -1));
    assert_null(setting_tag(NULL, "tint"));
    assert_null(setting_tag(bolt, "ambient"));
    assert_null(setting_tag_value(bolt, "gain", 1));
    assert_null(setting_operator(NULL));
    assert_null(value_choice(NULL));
    assert_null(night->head);
    recipe_free(recipe);
    recipe_free(NULL);
}

static void standards_stand_behind(void **state)
{
    (void)state;
    struct recipe *recipe = parse("shot s\n  frames 1\na = pass a.exr\np = place a\n  move 1 2 px\n");
    const struct block *place = recipe_block(recipe, "p");
    assert_int_equal(place->setting_count, 2);
    assert_true(place->settings[0].given);
    const struct setting *filter = &place->settings[1];
    assert_false(filter->given);
    assert_string_equal(value_choice(setting_value(filter, 0)), "spline");
    assert_int_equal(setting_value(filter, 0)->where.line, place->where.line);
    assert_true(value_at(setting_value(block_setting(recipe->shot, "rate"), 0), 0, 0, 1) == 24);
    recipe_free(recipe);
}

static void frames_and_sizes(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    const struct value *frames = setting_value(block_setting(recipe->shot, "frames"), 0);
    const int32_t wanted[] = { 1001, 1002, 1003, 1010, 1012, 1014 };
    assert_int_equal(frames->frame_count, 6);
    assert_memory_equal(frames->frames, wanted, sizeof wanted);
    const struct value *size = setting_value(block_setting(recipe->shot, "size"), 0);
    assert_int_equal(size->first, 1920);
    assert_int_equal(size->last, 1080);
    recipe_free(recipe);
    recipe = parse("shot s\n  frames \"1-3, 5\"\n");
    assert_int_equal(setting_value(block_setting(recipe->shot, "frames"), 0)->frame_count, 4);
    recipe_free(recipe);
}

/* One line of the block g of every unit, and what it is kept as. */
static double kept(const char *line, int component, double frame, int scale)
{
    char text[256];
    snprintf(text, sizeof text, "c = curve\n  1 10\n  3 20\ng = gauge\n  %s\n", line);
    struct recipe *recipe = parse(text);
    const double number = value_at(setting_value(&recipe_block(recipe, "g")->settings[0], 0), component, frame, scale);
    recipe_free(recipe);
    return number;
}

static void units_are_kept(void **state)
{
    (void)state;
    assert_true(kept("bare 3", 0, 1, 4) == 3);
    assert_true(kept("stops -1.5 stops", 0, 1, 4) == -1.5);
    assert_true(kept("px 4 px", 0, 1, 1) == 4);
    assert_true(kept("px 4px", 0, 1, 4) == 1);
    assert_true(kept("percent 2%", 0, 1, 4) == 0.02);
    assert_true(kept("percent 2 %", 0, 1, 4) == 0.02);
    assert_true(kept("fraction 40%", 0, 1, 4) == 0.4);
    assert_true(kept("fraction 0.4", 0, 1, 4) == 0.4);
    assert_true(kept("frames 4 frames", 0, 1, 4) == 4);
    assert_true(kept("degrees -90deg", 0, 1, 4) == -90);
    assert_true(kept("kelvin 5600 K", 0, 1, 4) == 5600);
    assert_true(kept("seconds .5s", 0, 1, 4) == 0.5);
    assert_true(kept("nits 2.03e2 nits", 0, 1, 4) == 203);
    assert_true(kept("count 4 frames", 0, 1, 4) == 4);
}

/* A curve gives the number in the form in which it is kept. */
static void curves_stand_for_numbers(void **state)
{
    (void)state;
    assert_true(kept("bare c", 0, 2, 1) == 15);
    assert_true(kept("px c", 0, 2, 2) == 7.5);
    assert_true(kept("percent c", 0, 2, 1) == 15);
    assert_true(kept("stops c", 0, 0, 1) == 10);
    assert_true(kept("stops c", 0, 9, 1) == 20);
}

static void keys_in_place(void **state)
{
    (void)state;
    assert_true(kept("bare [1 10, 3 20]", 0, 2, 1) == 15);
    assert_true(kept("px [1 10, 3 20] px", 0, 2, 2) == 7.5);
    assert_true(kept("px [1 10px,3 20 px]", 0, 2, 2) == 7.5);
    assert_true(kept("px [1 10,3 20]px", 0, 2, 2) == 7.5);
    assert_true(kept("percent [ 1 25% , 3 75 ]", 0, 2, 1) == 0.5);
    assert_true(kept("fraction [1 0.5, 3 1 hold, 4 0]", 0, 3.9, 1) == 1);
    assert_true(kept("bare [-4.5 1]", 0, 100, 1) == 1);
}

static void tuples_share_a_unit(void **state)
{
    (void)state;
    struct recipe *recipe = parse("a = pass a\np = place a\n  move 1 2 px\n  move 1px 2px\n  move [1 0 0, 3 4 8px] \n"
                                  "  size 150%\n  size 50 200%\n");
    const struct block *p = recipe_block(recipe, "p");
    for (int i = 0; i < 2; i++) {
        const struct value *move = setting_value(&p->settings[i], 0);
        assert_int_equal(move->count, 2);
        assert_true(value_at(move, 0, 1, 1) == 1 && value_at(move, 1, 1, 1) == 2);
        assert_false(value_changes(move));
    }
    const struct value *keys = setting_value(&p->settings[2], 0);
    assert_true(value_at(keys, 0, 2, 1) == 2 && value_at(keys, 1, 2, 1) == 4 && value_at(keys, 1, 2, 2) == 2);
    assert_true(value_changes(keys));
    const struct value *one = setting_value(&p->settings[3], 0), *two = setting_value(&p->settings[4], 0);
    assert_true(one->count == 1 && value_at(one, 1, 0, 1) == 1.5);
    assert_true(two->count == 2 && value_at(two, 0, 0, 1) == 0.5 && value_at(two, 1, 0, 1) == 2);
    recipe_free(recipe);
}

static void one_word_two_forms(void **state)
{
    (void)state;
    struct recipe *recipe =
        parse("top2 = curve\n  1 7\na = pass a\np = place a\n  keep bottom\nq = place a\n  keep 1 2 px\n"
              "r = place a\n  keep top2\nt = place a\n  filter 8 3\n");
    assert_string_equal(value_choice(setting_value(block_setting(recipe_block(recipe, "p"), "keep"), 0)), "bottom");
    assert_int_equal(setting_value(block_setting(recipe_block(recipe, "q"), "keep"), 0)->count, 2);
    const struct value *curve = setting_value(block_setting(recipe_block(recipe, "r"), "keep"), 0);
    assert_ptr_equal(curve->curve, recipe_block(recipe, "top2"));
    const struct setting *filter = block_setting(recipe_block(recipe, "t"), "filter");
    assert_string_equal(value_choice(setting_value(filter, 0)), "8");
    assert_true(value_at(setting_value(filter, 1), 0, 0, 1) == 3);
    recipe_free(recipe);
}

static void value_changes_only_when_it_does(void **state)
{
    (void)state;
    struct recipe *recipe = parse("c = curve\n  1 5\n  9 5\nd = curve\n  1 5\n  2 6\ng = gauge\n  bare c\n  bare d\n"
                                  "  bare [1 2, 3 2]\n  bare [1 2]\n  bare [1 2, 3 4]\n");
    const struct block *g = recipe_block(recipe, "g");
    const bool wanted[] = { false, true, false, false, true };
    for (int i = 0; i < 5; i++)
        assert_int_equal(value_changes(setting_value(&g->settings[i], 0)), wanted[i]);
    recipe_free(recipe);
}

/* ---- tracks ------------------------------------------------------------------------------------------------------ */

static void ends_hold_and_keys_are_met(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    const struct track *track = recipe_block(recipe, "strike")->track;
    assert_int_equal(track->count, 4);
    for (int i = 0; i < 4; i++)
        assert_true(track_at(track, 0, track->frames[i]) == track->numbers[i]);
    assert_true(track_at(track, 0, -1e9) == 0);
    assert_true(track_at(track, 0, 1e9) == 0.9);
    assert_true(track_at(track, 0, 1009) == 0.5);
    assert_true(track_at(track, 0, 1013.99) == 0.25);
    /* Level at both ends, so half way it is in the middle. */
    assert_true(fabs(track_at(track, 0, 1011.5) - 0.625) < 1e-15);
    assert_null(recipe_block(recipe, "night")->track);
    recipe_free(recipe);
}

static struct recipe *curve_of(const char *keys, const struct track **track)
{
    char text[512];
    snprintf(text, sizeof text, "c = curve\n%s", keys);
    struct recipe *recipe = parse(text);
    *track = recipe_block(recipe, "c")->track;
    return recipe;
}

/* Where straight, smooth and held parts meet, the smooth one goes on as the other does. */
static void smooth_parts_join(void **state)
{
    (void)state;
    const struct track *track;
    const double d = 1e-6;
    struct recipe *recipe =
        curve_of(" 0 0\n 10 10 smooth\n 20 30\n 30 40\n 40 40 smooth\n 50 80 hold\n 60 0\n", &track);
    assert_true(fabs((track_at(track, 0, 10 + d) - 10) / d - 1) < 1e-4);
    assert_true(fabs((30 - track_at(track, 0, 20 - d)) / d - 1) < 1e-4);
    assert_true(fabs((track_at(track, 0, 40 + d) - 40) / d) < 1e-4);
    assert_true(fabs((80 - track_at(track, 0, 50 - d)) / d) < 1e-4);
    recipe_free(recipe);
    recipe = curve_of(" 0 0 smooth\n 2 1 smooth\n 3 4 smooth\n 6 5\n", &track);
    const double before = (1 - track_at(track, 0, 2 - d)) / d, after = (track_at(track, 0, 2 + d) - 1) / d;
    assert_true(fabs(before - 27. / 29) < 1e-4 && fabs(after - 27. / 29) < 1e-4);
    recipe_free(recipe);
}

static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    return *seed ^= *seed << 17;
}

/* Between two keys no curve leaves the range of the two, and it never turns. */
static void nothing_swings(void **state)
{
    (void)state;
    uint64_t seed = 4711;
    for (int round = 0; round < 300; round++) {
        static const char *const leaves[] = { "linear", "smooth", "smooth", "hold" };
        struct text text = { NULL, 0, 0, false };
        int frame = 0;
        for (int i = 0; i < 12; i++) {
            text_print(&text, " %d %g %s\n", frame, (double)(next_random(&seed) % 2000) / 100 - 10,
                       leaves[next_random(&seed) % 4]);
            frame += 1 + (int)(next_random(&seed) % 20);
        }
        const struct track *track;
        struct recipe *recipe = curve_of(text.bytes, &track);
        for (int key = 0; key + 1 < track->count; key++) {
            const double a = track->numbers[key], b = track->numbers[key + 1];
            const double width = track->frames[key + 1] - track->frames[key];
            double before = a;
            for (int t = 0; t <= 64; t++) {
                const double now = track_at(track, 0, track->frames[key] + width * t / 64);
                if ((now - before) * (b - a) < -1e-12 || now < fmin(a, b) || now > fmax(a, b))
                    fail_msg("round %d swings behind key %d:\n%s", round, key, text.bytes);
                before = now;
            }
        }
        recipe_free(recipe);
        text_release(&text);
    }
}

/* ---- text -------------------------------------------------------------------------------------------------------- */

static void forms_of_text_do_not_matter(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "shot s\n  frames 1-3\na = pass a.exr\nb = stack\n  layer a add\n",
        "\xEF\xBB\xBFshot s\r\n\tframes\t1-3\r\n\r\na = pass a.exr\r\nb = stack\r\n\tlayer a add",
        "b=stack # first\n      layer a add   # last\n\n\n# between\na=pass a.exr\nshot s # c\n   frames 1-3",
        "passel 1\nb =stack\n layer\xC2\xA0"
        "a add\n # odd\na= pass \"a.exr\"\nshot s\n\n  frames 1-3 # x\n",
    };
    for (int i = 0; i < 4; i++) {
        struct recipe *recipe = parse(texts[i]);
        const struct setting *layer = &recipe_block(recipe, "b")->settings[0];
        assert_ptr_equal(setting_value(layer, 0)->block, recipe_block(recipe, "a"));
        assert_string_equal(setting_operator(layer), "add");
        assert_string_equal(setting_value(recipe_block(recipe, "a")->head, 0)->text, "a.exr");
        assert_int_equal(setting_value(block_setting(recipe->shot, "frames"), 0)->frame_count, 3);
        recipe_free(recipe);
    }
}

static void quotes_and_signs(void **state)
{
    (void)state;
    struct recipe *recipe =
        parse("a = pass \"#1 \\\"x\\\" \\\\ # .exr\"\nb = pass moon.####.exr\nc = pass a=b,c[1].exr\n"
              "shot = pass d\noutput = pass e\npassel = pass f\ng = gauge\n  text \"\xE2\x80\x9C\"\n");
    assert_string_equal(setting_value(recipe_block(recipe, "a")->head, 0)->text, "#1 \"x\" \\ # .exr");
    assert_string_equal(setting_value(recipe_block(recipe, "b")->head, 0)->text, "moon.####.exr");
    assert_string_equal(setting_value(recipe_block(recipe, "c")->head, 0)->text, "a=b,c[1].exr");
    assert_string_equal(setting_value(recipe_block(recipe, "shot")->head, 0)->text, "d");
    assert_string_equal(setting_value(recipe_block(recipe, "output")->head, 0)->text, "e");
    assert_string_equal(setting_value(recipe_block(recipe, "passel")->head, 0)->text, "f");
    assert_null(recipe->shot);
    recipe_free(recipe);
}

/* The same name written with a composed and with a combining accent, and names of other scripts. */
static void names_are_compared_composed(void **state)
{
    (void)state;
    struct recipe *recipe = parse("cafe\xCC\x81 = pass a\n\xE7\x81\xAF\xE5\x8F\xB0 = pass b\n"
                                  "\xE0\xA4\xA6\xE0\xA5\x80\xE0\xA4\xAA-2 = pass c\ns = stack\n  layer caf\xC3\xA9\n"
                                  "  layer \xE7\x81\xAF\xE5\x8F\xB0\n  layer \xE0\xA4\xA6\xE0\xA5\x80\xE0\xA4\xAA-2\n");
    const struct block *s = recipe_block(recipe, "s");
    assert_string_equal(recipe->blocks[0]->name, "caf\xC3\xA9");
    assert_ptr_equal(recipe_block(recipe, "cafe\xCC\x81"), recipe->blocks[0]);
    for (int i = 0; i < 3; i++)
        assert_ptr_equal(setting_value(&s->settings[i], 0)->block, recipe->blocks[i]);
    recipe_free(recipe);
}

/* ---- messages for kinds ------------------------------------------------------------------------------------------ */

static void kinds_can_point_at_the_text(void **state)
{
    (void)state;
    struct recipe *recipe = parse(storm);
    struct passel_error error;
    const struct value *size = setting_value(block_setting(recipe->shot, "size"), 0);
    assert_int_equal(recipe_error(recipe, size->where, PASSEL_BAD_RECIPE, &error, "too %s", "wide"), PASSEL_BAD_RECIPE);
    assert_int_equal(error.status, PASSEL_BAD_RECIPE);
    assert_string_equal(error.text, "shots/storm.passel:5:11: error: too wide\n"
                                    "    size    1920x1080\n"
                                    "            ^~~~~~~~~");
    assert_int_equal(recipe_error(recipe, size->where, PASSEL_BAD_FILE, NULL, "x"), PASSEL_BAD_FILE);
    recipe_free(recipe);
}

/* ---- files and sizes --------------------------------------------------------------------------------------------- */

static void recipes_are_read_from_disk(void **state)
{
    (void)state;
    struct scratch scratch;
    struct recipe *recipe;
    struct passel_error error;
    struct text messages = { NULL, 0, 0, false };
    char path[1024];
    scratch_init(&scratch);
    scratch_write(&scratch, "storm.passel", storm, strlen(storm));
    scratch_path(&scratch, "storm.passel", path);
    assert_int_equal(recipe_read(path, language_schemas, NULL, 0, &recipe, &messages, &error), PASSEL_OK);
    assert_string_equal(recipe->folder, scratch.folder);
    recipe_free(recipe);
    scratch_path(&scratch, "none.passel", path);
    assert_int_equal(recipe_read(path, language_schemas, NULL, 0, &recipe, &messages, &error), PASSEL_NO_FILE);
    assert_null(recipe);
    scratch_path(&scratch, "long.passel", path);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_int_equal(fseek(file, (long)RECIPE_LIMIT, SEEK_SET), 0);
    assert_int_equal(fputc('\n', file), '\n');
    assert_int_equal(fclose(file), 0);
    assert_int_equal(recipe_read(path, language_schemas, NULL, 0, &recipe, &messages, &error), PASSEL_UNSUPPORTED);
    assert_non_null(strstr(error.text, "at most 64 MiB"));
    assert_null(recipe);
    assert_null(messages.bytes);
    scratch_release(&scratch);
}

/* Processor time for a chain of `count` blocks with long-winded lines, read and printed. */
static double seconds_for(int count)
{
    struct text text = { NULL, 0, 0, false };
    struct timespec begin, end;
    text_print(&text, "b0 = pass a.exr\n");
    for (int i = 1; i < count; i++)
        text_print(&text, "b%d = lights\n  light b%d -1.5 stops tint 1 2 3\n  light b%d gain [1 2, 3 4 smooth]\n", i,
                   i - 1, i / 2);
    assert_false(text.failed);
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &begin);
    struct recipe *recipe = parse(text.bytes);
    struct text printed = { NULL, 0, 0, false };
    recipe_print(recipe, &printed);
    assert_false(printed.failed);
    recipe_free(recipe);
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &end);
    text_release(&printed);
    text_release(&text);
    return (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec);
}

/* The least of three: others use the machine too. */
static double least_seconds_for(int count)
{
    double least = seconds_for(count);
    for (int i = 0; i < 2; i++)
        least = fmin(least, seconds_for(count));
    return least;
}

/* Sixteen times the blocks may take fifty times as long, not two hundred and fifty-six times. */
static void time_grows_with_the_text(void **state)
{
    (void)state;
    const double few = least_seconds_for(5000), many = least_seconds_for(80000);
    print_message("5000 blocks take %.4f s, 80000 take %.4f s\n", few, many);
    assert_true(many < 50 * few);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(blocks_are_in_order),
        cmocka_unit_test(words_and_places_are_kept),
        cmocka_unit_test(missing_things_are_null),
        cmocka_unit_test(standards_stand_behind),
        cmocka_unit_test(frames_and_sizes),
        cmocka_unit_test(units_are_kept),
        cmocka_unit_test(curves_stand_for_numbers),
        cmocka_unit_test(keys_in_place),
        cmocka_unit_test(tuples_share_a_unit),
        cmocka_unit_test(one_word_two_forms),
        cmocka_unit_test(value_changes_only_when_it_does),
        cmocka_unit_test(ends_hold_and_keys_are_met),
        cmocka_unit_test(smooth_parts_join),
        cmocka_unit_test(nothing_swings),
        cmocka_unit_test(forms_of_text_do_not_matter),
        cmocka_unit_test(quotes_and_signs),
        cmocka_unit_test(names_are_compared_composed),
        cmocka_unit_test(kinds_can_point_at_the_text),
        cmocka_unit_test(recipes_are_read_from_disk),
        cmocka_unit_test(time_grows_with_the_text),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

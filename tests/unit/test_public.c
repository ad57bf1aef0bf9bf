/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The public interface as a caller of the library uses it: every function of include/passel, its errors and its events.
 */
#include <passel/passel.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "scratch.h"

#define SHOT "shot tiny\n  frames 1001-1004\n  size 8x6\n"
#define RECIPE                                                                                                         \
    SHOT "sea = flat\n  colour [1001 0.25 0.5 1, 1004 1 0.5 0.25]\n"                                                   \
         "disc = shape\n  ellipse 4 3 2 2 px\n"                                                                        \
         "final = stack\n  layer sea\n  layer lamp matte disc\n"                                                       \
         "lamp = flat\n  colour 2 1 0.5\n"                                                                             \
         "output final as storm\n  file renders/storm.####.exr\n"                                                      \
         "output sea as sea\n  file sea.####.png\n"

/* Events of one render, told one at a time. */
struct told {
    int counts[4];
    int done;
    char text[512];
};

static void on_event(void *user, const struct passel_event *event)
{
    struct told *told = user;
    told->counts[event->kind]++;
    if (event->kind != PASSEL_WARNING)
        assert_int_equal(event->done, ++told->done);
    assert_true(event->frame >= 1001 && event->frame <= 1004);
    assert_true(event->seconds >= 0);
    if (event->text[0] != '\0')
        (void)snprintf(told->text, sizeof told->text, "%s", event->text);
}

static struct passel_recipe *loaded(struct scratch *scratch, const char *text)
{
    char path[1024];
    struct passel_recipe *recipe;
    struct passel_error error = { 0 };
    scratch_init(scratch);
    scratch_write(scratch, "shot.passel", text, strlen(text));
    const enum passel_status status =
        passel_recipe_load(scratch_path(scratch, "shot.passel", path), NULL, 0, &recipe, NULL, &error);
    if (status != PASSEL_OK)
        fail_msg("%s", error.text);
    return recipe;
}

static bool is_there(const struct scratch *scratch, const char *name)
{
    char path[1024];
    struct stat facts;
    return stat(scratch_path(scratch, name, path), &facts) == 0 && facts.st_size > 0;
}

static void test_version(void **state)
{
    (void)state;
    int major, minor, patch;
    assert_int_equal(sscanf(passel_version(), "%d.%d.%d", &major, &minor, &patch), 3);
    for (int i = -1; i <= PASSEL_STATUS_COUNT; i++)
        assert_true(strlen(passel_status_text((enum passel_status)i)) > 3);
}

static void test_load_tells_all(void **state)
{
    (void)state;
    static const char wrong[] = SHOT "sea = flt\n  colour 1 1 1\nfinal = stack\n  layer see\n";
    static const char *const changes[] = { "sea: colour 0 1 0", "final: layer lamp opacity 5 px" };
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    char path[1024], *messages;
    struct passel_error error = { 0 };
    passel_recipe_free(recipe);
    scratch_path(&scratch, "shot.passel", path);
    assert_int_equal(passel_recipe_load(path, changes, 1, &recipe, &messages, &error), PASSEL_OK);
    assert_null(messages);
    passel_recipe_free(recipe);
    assert_int_equal(passel_recipe_load(path, changes, 2, &recipe, &messages, &error), PASSEL_BAD_RECIPE);
    assert_null(recipe);
    assert_non_null(strstr(messages, "px"));
    passel_text_free(messages);
    scratch_write(&scratch, "wrong.passel", wrong, strlen(wrong));
    scratch_path(&scratch, "wrong.passel", path);
    assert_int_equal(passel_recipe_load(path, NULL, 0, &recipe, &messages, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(messages, "wrong.passel:4:7: error:"));
    assert_non_null(strstr(messages, "wrong.passel:7:9: error:"));
    passel_text_free(messages);
    assert_int_equal(passel_recipe_load(path, NULL, 0, &recipe, NULL, NULL), PASSEL_BAD_RECIPE);
    assert_int_equal(passel_recipe_load("/nowhere/at/all.passel", NULL, 0, &recipe, &messages, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, "/nowhere/at/all.passel"));
    assert_null(recipe);
    assert_null(messages);
    passel_recipe_free(NULL);
    passel_text_free(NULL);
    scratch_release(&scratch);
}

static void test_render(void **state)
{
    (void)state;
    static const char *const outputs[] = { "storm" };
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    struct passel_render_result result;
    struct passel_error error = { 0 };
    struct told told = { .done = 0 };
    struct passel_render_options options = {
        .outputs = outputs, .output_count = 1, .frames = "1002", .threads = 2, .event = on_event, .user = &told
    };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_OK);
    assert_int_equal(result.made, 1);
    assert_int_equal(result.total, 1);
    assert_int_equal(told.counts[PASSEL_FRAME_DONE], 1);
    assert_true(is_there(&scratch, "renders/storm.1002.exr"));
    assert_false(is_there(&scratch, "renders/storm.1001.exr"));
    assert_false(is_there(&scratch, "sea.1002.png"));

    options = (struct passel_render_options){ .event = on_event, .user = &told };
    told = (struct told){ .done = 0 };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_OK);
    assert_int_equal(result.made, 4); /* the picture of one output was there, of the other not */
    assert_true(is_there(&scratch, "sea.1004.png"));
    told = (struct told){ .done = 0 };
    assert_int_equal(passel_render(recipe, &options, NULL, NULL), PASSEL_OK);
    assert_int_equal(told.counts[PASSEL_FRAME_FRESH], 4);
    options = (struct passel_render_options){ .again = true };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_OK);
    assert_int_equal(result.made, 4);
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

static void test_render_refuses(void **state)
{
    (void)state;
    static const char *const outputs[] = { "strom" };
    static const int stop = 1;
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    struct passel_render_result result;
    struct passel_error error = { 0 };
    struct passel_render_options options = { .outputs = outputs, .output_count = 1 };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_BAD_USE);
    assert_non_null(strstr(error.text, "storm"));
    options = (struct passel_render_options){ .frames = "1004-1005" };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_BAD_USE);
    assert_non_null(strstr(error.text, "1005"));
    options = (struct passel_render_options){ .stop = &stop };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_STOPPED);
    assert_int_equal(result.made + result.failed + result.fresh, 0);
    assert_int_equal(scratch_count(&scratch), 1); /* the recipe */
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

/* A frame that fails is told and the others are made. */
static void test_render_partly(void **state)
{
    (void)state;
    static const char text[] = SHOT "moon = pass sea.####.png\n  use 1001-1002\n"
                                    "output moon\n  file moon.####.exr\n";
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    struct passel_render_result result;
    struct passel_error error = { 0 };
    struct told told = { .done = 0 };
    struct passel_render_options options = { .frames = "1001-1002" };
    char path[1024];
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_OK);
    passel_recipe_free(recipe);
    scratch_write(&scratch, "again.passel", text, strlen(text));
    assert_int_equal(passel_recipe_load(scratch_path(&scratch, "again.passel", path), NULL, 0, &recipe, NULL, &error),
                     PASSEL_OK);
    options = (struct passel_render_options){ .event = on_event, .user = &told };
    assert_int_equal(passel_render(recipe, &options, &result, &error), PASSEL_PARTLY);
    assert_int_equal(result.made, 2);
    assert_int_equal(result.failed, 2);
    assert_int_equal(told.counts[PASSEL_FRAME_FAILED], 2);
    assert_non_null(strstr(error.text, "1003"));
    assert_true(is_there(&scratch, "moon.1002.exr"));
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

static void test_picture(void **state)
{
    (void)state;
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    struct passel_picture picture;
    struct passel_error error = { 0 };
    assert_int_equal(passel_picture_make(recipe, "final", 1001, 1, 0, &picture, &error), PASSEL_OK);
    assert_int_equal(picture.width, 8);
    assert_int_equal(picture.height, 6);
    assert_true(picture.plane[0][0] == 0.25f && picture.plane[2][0] == 1);
    assert_true(picture.plane[0][2 * 8 + 3] == 2 && picture.plane[2][3 * 8 + 4] == 0.5f); /* within the disc */
    passel_picture_release(&picture);
    assert_null(picture.plane[0]);
    passel_picture_release(&picture);

    assert_int_equal(passel_picture_make(recipe, "disc", 1003, 0, 1, &picture, NULL), PASSEL_OK);
    assert_null(picture.plane[0]);
    assert_true(picture.plane[3][3 * 8 + 4] == 1 && picture.plane[3][0] == 0);
    passel_picture_release(&picture);
    assert_int_equal(passel_picture_make(recipe, "sea", 1004, 2, 1, &picture, &error), PASSEL_OK);
    assert_int_equal(picture.width, 4);
    assert_int_equal(picture.height, 3);
    assert_true(picture.plane[0][11] == 1 && picture.plane[2][11] == 0.25f);
    passel_picture_release(&picture);
    for (int i = 0; i < 4; i++) {
        static const char *const names[] = { "finale", "storm", "sea.quality", "" };
        static const char *const said[] = { "\"finale\"", "\"storm\"", "\"quality\"", "\"\"" };
        assert_int_equal(passel_picture_make(recipe, names[i], 1001, 1, 1, &picture, &error), PASSEL_BAD_USE);
        assert_non_null(strstr(error.text, said[i]));
        assert_null(picture.owner);
    }
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

struct visitor {
    const struct passel_recipe *recipe;
    float seen;
};

static void *visit(void *data)
{
    struct visitor *visitor = data;
    struct passel_picture picture;
    for (int32_t frame = 1001; frame <= 1004; frame++) {
        if (passel_picture_make(visitor->recipe, "final", frame, 1, 2, &picture, NULL) != PASSEL_OK)
            return NULL;
        visitor->seen += picture.plane[0][0];
        passel_picture_release(&picture);
    }
    return NULL;
}

/* A loaded recipe is never changed, so that threads may share it. */
static void test_shared_recipe(void **state)
{
    (void)state;
    struct scratch scratch;
    struct passel_recipe *recipe = loaded(&scratch, RECIPE);
    struct visitor visitors[3];
    pthread_t threads[3];
    for (int i = 0; i < 3; i++) {
        visitors[i] = (struct visitor){ recipe, 0 };
        assert_int_equal(pthread_create(&threads[i], NULL, visit, &visitors[i]), 0);
    }
    for (int i = 0; i < 3; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_true(visitors[i].seen == 2.5f); /* 0.25 + 0.5 + 0.75 + 1 */
    }
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_version),        cmocka_unit_test(test_load_tells_all), cmocka_unit_test(test_render),
        cmocka_unit_test(test_render_refuses), cmocka_unit_test(test_render_partly),  cmocka_unit_test(test_picture),
        cmocka_unit_test(test_shared_recipe),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

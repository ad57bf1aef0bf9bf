/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Passel: load a recipe, ask for a picture, render a range of frames.
 *
 * Nothing here keeps state between calls but the objects that the caller holds. A loaded recipe is never changed, so
 * several threads may use it at once. Every fallible function returns a status and fills the caller's error (error.h).
 */
#ifndef PASSEL_PASSEL_H
#define PASSEL_PASSEL_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* "0.1.0" */
PASSEL_API const char *passel_version(void);

struct passel_recipe;

/* Reads and checks a recipe. `changes` are lines for this run only, each "BLOCK: SETTING LINE" (NULL when
 * change_count is 0). *messages, when not NULL, takes all errors and warnings, each with its place, for
 * passel_text_free; it is NULL when there are none. On success the recipe is the caller's, for passel_recipe_free. */
PASSEL_API enum passel_status passel_recipe_load(const char *path, const char *const *changes, int change_count,
                                                 struct passel_recipe **recipe, char **messages,
                                                 struct passel_error *error);
PASSEL_API void passel_recipe_free(struct passel_recipe *recipe); /* NULL is fine */
PASSEL_API void passel_text_free(char *text);                     /* NULL is fine */

enum passel_event_kind {
    PASSEL_FRAME_DONE,   /* all outputs of the frame are whole on the disk */
    PASSEL_FRAME_FRESH,  /* they were there already, made from the same */
    PASSEL_FRAME_FAILED, /* text says why; other frames go on */
    PASSEL_WARNING       /* text says what */
};

struct passel_event {
    enum passel_event_kind kind;
    int32_t frame;
    int done, total;  /* frames finished in any way, and asked for */
    double seconds;   /* since the render began */
    const char *text; /* for failures and warnings; else "" */
};

/* All zero is a good start: every output, every frame of the shot, all threads, a quarter of the machine's memory. */
struct passel_render_options {
    const char *const *outputs; /* labels of the outputs to render */
    int output_count;           /* 0: all */
    const char *frames;         /* "1001-1010, 1020, 1001-1048 every 2"; NULL: the shot's */
    int threads;                /* 0: as many as the machine offers */
    size_t memory;              /* bytes that pictures may take together; 0: a quarter of the machine's */
    bool again;                 /* make frames that are fresh, too */
    int scale;                  /* 0 or 1 full size; 2 half; 4 quarter */
    const volatile int *stop;   /* not NULL: rendering ends soon after *stop is not 0 */
    /* Called for every event, one call at a time, from any thread; NULL is fine. */
    void (*event)(void *user, const struct passel_event *event);
    void *user;
};

struct passel_render_result {
    int made, fresh, failed, total;
    double seconds;
};

/* Renders. PASSEL_OK: every frame is there. PASSEL_PARTLY: some failed. PASSEL_STOPPED: `stop` ended it; what is on
 * the disk is whole. `result` (may be NULL) is filled in any case. */
PASSEL_API enum passel_status passel_render(const struct passel_recipe *recipe,
                                            const struct passel_render_options *options,
                                            struct passel_render_result *result, struct passel_error *error);

/* A picture in memory: scene-linear light in the shot's primaries, colour premultiplied by alpha. */
struct passel_picture {
    int32_t width, height; /* the picture's display window, or the shot's size */
    const float *plane[4]; /* R, G, B, A; width * height values each, top row first; NULL when it has no such plane */
    void *owner;
};

/* Makes one picture of a recipe, by the name that recipes use ("final", "cut.quality"), at one frame. For
 * passel_picture_release. */
PASSEL_API enum passel_status passel_picture_make(const struct passel_recipe *recipe, const char *name, int32_t frame,
                                                  int scale, int threads, struct passel_picture *picture,
                                                  struct passel_error *error);
PASSEL_API void passel_picture_release(struct passel_picture *picture); /* a zeroed one is fine */

#ifdef __cplusplus
}
#endif

#endif

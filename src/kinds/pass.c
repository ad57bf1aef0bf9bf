/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `pass`: a still, a numbered sequence or a movie from disk, as scene-linear premultiplied light in the shot's
 * primaries. It decides which file serves a frame; media reads it; the encoding is undone here and nowhere else.
 */
#include "kinds/pass.h"

#include <stdatomic.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "kinds/encoding_setting.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "kinds/time_clip.h"
#include "media/media.h"
#include "media/sequence.h"

enum missing { MISSING_ERROR, MISSING_FREEZE, MISSING_NOTHING, MISSING_BLEND };
enum alpha_word { ALPHA_WORD_STRAIGHT, ALPHA_WORD_PREMULTIPLIED, ALPHA_WORD_IGNORE };

struct pass {
    const struct value *path;
    char *folder; /* of the recipe, to make messages short */
    struct sequence sequence;
    struct media_choice choice;
    bool movie; /* one file with many frames */
    int32_t movie_frames;
    struct clip clip; /* what is used, joined: at least one part */
    int32_t start;    /* the shot frame that shows the first of them */
    enum missing missing;
    const struct setting *encoding;
    const char *primaries; /* or NULL: what the file says, else the shot's */
    const struct value *alpha;
    struct picture_info nominal; /* windows of the first readable frame, full size */
};

/* One frame, or two that are blended where a file is missing. */
struct pass_state {
    int count; /* readers: 0 is an empty picture */
    struct media_reader *readers[2];
    char *paths[2];
    int32_t inner; /* frame within a movie */
    float weight;  /* of the second reader */
    struct picture_info info;
    atomic_ullong nan, infinite;
};

static const struct choice beyond_choices[] = {
    [CLIP_ERROR] = { "error", "the frame cannot be made" },
    [CLIP_FREEZE] = { "freeze", "the first or last frame stands still" },
    [CLIP_NOTHING] = { "nothing", "the picture is empty there" },
    [CLIP_REPEAT] = { "repeat", "it begins again" },
    [CLIP_TO_AND_FRO] = { "to-and-fro", "it runs backwards, then forwards again" },
    { NULL, NULL },
};

static const struct choice missing_choices[] = {
    [MISSING_ERROR] = { "error", "the frame cannot be made" },
    [MISSING_FREEZE] = { "freeze", "the frame before it serves" },
    [MISSING_NOTHING] = { "nothing", "the picture is empty there" },
    [MISSING_BLEND] = { "blend", "the neighbours are mixed in linear light" },
    { NULL, NULL },
};

static const struct choice alpha_choices[] = {
    [ALPHA_WORD_STRAIGHT] = { "straight", "colour is not multiplied by alpha yet" },
    [ALPHA_WORD_PREMULTIPLIED] = { "premultiplied", "colour is multiplied by alpha already" },
    [ALPHA_WORD_IGNORE] = { "ignore", "the alpha in the file means nothing: the picture is opaque" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "FILE", .type = VALUE_PATH }, { .label = NULL } },
};

#define ONE_CHOICE(name, list)                                                                                         \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        { .label = name, .type = VALUE_CHOICE, .choices = list },                                                      \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }

static const struct setting_spec settings[] = {
    { .word = "encoding",
      .help = "how the file's numbers stand for light; what the file says of itself when nothing is said (EXR: linear, "
              "PNG and JPEG: srgb)",
      .values = (const struct value_spec[]){ ENCODING_VALUES, { .label = NULL } } },
    { .word = "primaries",
      .help = "the primaries of the file; what the file says of itself, else rec709",
      .values = ONE_CHOICE("PRIMARIES", primaries_choices) },
    { .word = "alpha",
      .help = "what the file's alpha means; PNG and TIFF say so themselves, an EXR is premultiplied",
      .values = ONE_CHOICE("ALPHA", alpha_choices) },
    { .word = "channels",
      .help = "a layer of the file (lamp takes lamp.R, lamp.G, lamp.B, lamp.A) or a single channel",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_TEXT }, { .label = NULL } } },
    { .word = "part",
      .help = "a part of a file that has several, by name or by number from 0",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_TEXT }, { .label = NULL } } },
    { .word = "rate",
      .help = "how many frames a second it was filmed at, for `speed real`; 23.976, 29.97 and 59.94 mean the exact "
              "1000/1001 rates",
      .values =
          (const struct value_spec[]){
              { .label = "RATE", .type = VALUE_NUMBER, .limited = true, .least = 0.01, .most = 100000 },
              { .label = NULL } } },
    { .word = "use",
      .help = "which of its frames are used; parts are joined into one clip. A movie's first frame is 1",
      .values = (const struct value_spec[]){ { .label = "A-B", .type = VALUE_RANGE }, { .label = NULL } },
      .tags =
          (const struct tag_spec[]){
              { .word = "then",
                .help = "the next part",
                .values = (const struct value_spec[]){ { .label = "C-D", .type = VALUE_RANGE }, { .label = NULL } },
                .repeats = true },
              { .word = NULL } } },
    { .word = "start",
      .help = "the shot frame that shows its first used frame",
      .values = (const struct value_spec[]){ { .label = "FRAME", .type = VALUE_INTEGER }, { .label = NULL } } },
    { .word = "beyond",
      .help = "what is shown before its first and after its last frame",
      .values = ONE_CHOICE("WHAT", beyond_choices),
      .standard = "error" },
    { .word = "missing",
      .help = "what is shown where a file of the sequence is not there",
      .values = ONE_CHOICE("WHAT", missing_choices),
      .standard = "error" },
    { .help = NULL },
};

/* ---- make: from settings and the disk ------------------------------------------------------------------------- */

static enum passel_status read_parts(struct pass *pass, const struct block *block, const struct recipe *recipe,
                                     const struct shot *shot, struct arena *arena, struct passel_error *error)
{
    const struct setting *use = block_setting(block, "use");
    const struct value *start = setting_value(block_setting(block, "start"), 0);
    const struct sequence *found = &pass->sequence;
    const int32_t first = pass->movie ? 1 : found->frames[0];
    const int32_t last =
        pass->movie ? (pass->movie_frames > 0 ? pass->movie_frames : INT32_MAX / 2) : found->frames[found->count - 1];
    struct clip_part *parts = arena_array(arena, use == NULL ? 1 : (size_t)use->tag_count + 1, sizeof *parts);
    if (parts == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (use == NULL) {
        parts[0] = (struct clip_part){ first, last };
        pass->clip.count = 1;
    }
    for (int i = 0; use != NULL && i <= use->tag_count; i++) {
        const struct value *range = i == 0 ? setting_value(use, 0) : &use->tags[i - 1].values[0];
        if (range->first < first || range->last > last)
            return recipe_error(recipe, range->where, PASSEL_BAD_RECIPE, error, "the pass has frames %d to %d only",
                                (int)first, (int)last);
        parts[pass->clip.count++] = (struct clip_part){ range->first, range->last };
    }
    pass->clip.parts = parts;
    if (start != NULL)
        pass->start = (int32_t)start->numbers[0];
    else
        pass->start = use == NULL && !pass->movie ? first : shot->frames[0];
    return PASSEL_OK;
}

/* Where the file has pixels, counted from the top left of its display window, as all pictures are. */
static struct rect data_of(const struct media_info *info)
{
    return rect_shift(info->data, -info->display.x0, -info->display.y0);
}

static struct rect display_of(const struct media_info *info)
{
    return rect_shift(info->display, -info->display.x0, -info->display.y0);
}

/* Opens frames in order until one can be read: its windows stand for the pass. */
static enum passel_status find_nominal(struct pass *pass, const struct recipe *recipe, struct passel_error *error)
{
    enum passel_status status = PASSEL_NO_FILE;
    const int tries = pass->sequence.numbered ? pass->sequence.count : 1;
    for (int i = 0; i < tries; i++) {
        char *path = pattern_path(pass->sequence.pattern, pass->sequence.numbered ? pass->sequence.frames[i] : 0);
        struct media_reader *reader = NULL;
        struct passel_error first_error = { 0 };
        status = path == NULL ? PASSEL_NO_MEMORY : media_open(path, &pass->choice, &reader, &first_error);
        memory_free(path);
        if (status == PASSEL_OK) {
            const struct media_info *info = media_info(reader);
            pass->nominal = (struct picture_info){
                .display = display_of(info), .planes = info->planes, .chunk_rows = 1, .pixel_aspect = info->pixel_aspect
            };
            pass->movie = info->frame_count != 1;
            pass->movie_frames = info->frame_count;
            media_close(reader);
            return PASSEL_OK;
        }
        if (status == PASSEL_BAD_USE) /* no such layer or part: the recipe names it */
            status = PASSEL_BAD_RECIPE;
        if (i == 0)
            (void)recipe_error(recipe, pass->path->where, status, error, "%s", first_error.text);
        if (status == PASSEL_NO_MEMORY)
            return status;
    }
    return status;
}

static void pass_release(void *self)
{
    struct pass *pass = self;
    sequence_release(&pass->sequence);
}

static enum passel_status find_files(struct pass *pass, const struct recipe *recipe, struct arena *arena,
                                     struct passel_error *error)
{
    char *joined = path_join(recipe->folder, pass->path->text);
    if (joined == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    struct passel_error inner = { 0 };
    const char *pattern = arena_text(arena, joined, strlen(joined));
    memory_free(joined);
    if (pattern == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status = sequence_find(pattern, &pass->sequence, &inner);
    if (status != PASSEL_OK)
        return recipe_error(recipe, pass->path->where, status, error, "%s", inner.text);
    if (pass->sequence.numbered && pass->sequence.count == 0)
        return recipe_error(recipe, pass->path->where, PASSEL_NO_FILE, error,
                            "no file on the disk has this name with a frame number in it");
    return PASSEL_OK;
}

static enum passel_status pass_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct pass *pass = arena_take(arena, sizeof *pass);
    if (pass == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const struct value *channels = setting_value(block_setting(block, "channels"), 0);
    const struct value *part = setting_value(block_setting(block, "part"), 0);
    pass->path = setting_value(block->head, 0);
    pass->choice = (struct media_choice){ .channels = channels != NULL ? channels->text : NULL,
                                          .part = part != NULL ? part->text : NULL };
    pass->encoding = block_setting(block, "encoding");
    pass->primaries = value_choice(setting_value(block_setting(block, "primaries"), 0));
    pass->alpha = setting_value(block_setting(block, "alpha"), 0);
    pass->clip.beyond = (enum clip_beyond)setting_value(block_setting(block, "beyond"), 0)->choice;
    pass->missing = (enum missing)setting_value(block_setting(block, "missing"), 0)->choice;
    enum passel_status status;
    GOTO_IF_ERROR(find_files(pass, recipe, arena, error), out_pass);
    GOTO_IF_ERROR(find_nominal(pass, recipe, error), out_pass);
    if (pass->sequence.numbered || pass->movie)
        GOTO_IF_ERROR(read_parts(pass, block, recipe, shot, arena, error), out_pass);
    *self = pass;
    return PASSEL_OK;
out_pass:
    pass_release(pass);
    return status;
}

/* The first picture that a block reads, or NULL. */
static const struct block *first_input(const struct block *block)
{
    const struct value *value = setting_value(block->head, 0);
    if (value != NULL && value->spec != NULL && value->spec->type == VALUE_PICTURE)
        return value->block;
    for (int i = 0; i < block->setting_count; i++) {
        value = setting_value(&block->settings[i], 0);
        if (value != NULL && value->spec != NULL && value->spec->type == VALUE_PICTURE)
            return value->block;
    }
    return NULL;
}

double pass_rate(const struct block *block, const struct block **pass)
{
    while (block != NULL && block->schema != &kind_pass.schema)
        block = first_input(block);
    const struct value *rate = block != NULL ? setting_value(block_setting(block, "rate"), 0) : NULL;
    int32_t num, den;
    *pass = block;
    if (rate == NULL)
        return 0;
    rate_exact(value_at(rate, 0, 0, 1), &num, &den);
    return (double)num / den;
}

/* ---- which file serves a frame ----------------------------------------------------------------------------------- */

/* The frame of the files that a shot frame shows; *shows is false for an empty picture. */
static enum passel_status clip_frame(const struct pass *pass, const struct at *at, bool *shows, int32_t *frame,
                                     struct passel_error *error)
{
    struct clip_moment moments[2];
    int count;
    const enum clip_answer answer =
        clip_at(&pass->clip, (double)at->frame - (double)pass->start, true, moments, &count);
    if (answer == CLIP_RUNS_OFF)
        return recipe_error(at->recipe, pass->path->where, PASSEL_NO_FILE, error,
                            "the pass covers shot frames %d to %d and is asked for %d; `beyond freeze`, `nothing`, "
                            "`repeat` or `to-and-fro` says what is shown there",
                            (int)pass->start, (int)(pass->start + clip_length(&pass->clip) - 1), (int)at->frame);
    *shows = answer == CLIP_SHOWS;
    *frame = *shows ? moments[0].frame : 0;
    return PASSEL_OK;
}

/* Existing neighbours of a frame that is not there: indices into the sequence, -1 when there is none on that side. */
static void neighbours(const struct sequence *sequence, int32_t frame, int *before, int *after)
{
    const int below = sequence_below(sequence, frame);
    *before = below - 1;
    *after = below < sequence->count ? below : -1;
}

static enum passel_status open_one(const struct pass *pass, struct pass_state *state, int32_t frame,
                                   struct passel_error *error)
{
    const int i = state->count;
    state->paths[i] = pattern_path(pass->sequence.pattern, frame);
    if (state->paths[i] == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status = media_open(state->paths[i], &pass->choice, &state->readers[i], error);
    if (status == PASSEL_OK)
        state->count++;
    return status == PASSEL_BAD_USE ? PASSEL_BAD_FILE : status; /* without the layer that the others have */
}

static enum passel_status open_substitute(const struct pass *pass, const struct at *at, struct pass_state *state,
                                          int32_t frame, struct passel_error *error)
{
    const int32_t *frames = pass->sequence.frames;
    int before, after;
    neighbours(&pass->sequence, frame, &before, &after);
    if (pass->missing == MISSING_NOTHING)
        return PASSEL_OK;
    if (pass->missing == MISSING_ERROR)
        return recipe_error(at->recipe, pass->path->where, PASSEL_NO_FILE, error,
                            "frame %d of the pass is missing; `missing freeze`, `blend` or `nothing` says what is "
                            "shown in its place",
                            (int)frame);
    if (before < 0 || after < 0 || pass->missing == MISSING_FREEZE)
        return open_one(pass, state, frames[before >= 0 ? before : after], error);
    state->weight = (float)((double)(frame - frames[before]) / (frames[after] - frames[before]));
    RETURN_IF_ERROR(open_one(pass, state, frames[before], error));
    return open_one(pass, state, frames[after], error);
}

static enum passel_status open_readers(const struct pass *pass, const struct at *at, struct pass_state *state,
                                       struct passel_error *error)
{
    if (!pass->sequence.numbered && !pass->movie)
        return open_one(pass, state, 0, error);
    bool shows = false;
    int32_t frame = 0;
    RETURN_IF_ERROR(clip_frame(pass, at, &shows, &frame, error));
    if (!shows)
        return PASSEL_OK;
    if (pass->movie) {
        state->inner = frame - 1;
        return open_one(pass, state, 0, error);
    }
    if (sequence_has(&pass->sequence, frame))
        return open_one(pass, state, frame, error);
    return open_substitute(pass, at, state, frame, error);
}

static void describe(const struct pass *pass, const struct at *at, struct pass_state *state)
{
    state->info = pass->nominal;
    state->info.display = rect_reduce(state->info.display, at->scale);
    for (int i = 0; i < state->count; i++) {
        const struct media_info *info = media_info(state->readers[i]);
        const struct rect data = rect_reduce(data_of(info), at->scale);
        if (i == 0) {
            state->info.display = rect_reduce(display_of(info), at->scale);
            state->info.planes = info->planes;
            state->info.pixel_aspect = info->pixel_aspect;
        }
        state->info.data = rect_join(state->info.data, data);
        state->info.planes |= info->planes;
        state->info.whole = state->info.whole || info->whole;
        if (info->chunk_rows / at->scale > state->info.chunk_rows)
            state->info.chunk_rows = info->chunk_rows / at->scale;
    }
    if (pass->alpha != NULL && pass->alpha->choice == ALPHA_WORD_IGNORE && (state->info.planes & HAS_RGB) != 0)
        state->info.planes &= ~(unsigned)HAS_A;
}

static void pass_close(void *opened, struct text *notes)
{
    struct pass_state *state = opened;
    if (state == NULL)
        return;
    const unsigned long long nan = atomic_load(&state->nan), infinite = atomic_load(&state->infinite);
    if (nan + infinite > 0 && notes != NULL)
        text_print(notes, "%s: values that are no numbers: %llu, read as 0; infinite: %llu, read as 65504\n",
                   state->paths[0], nan, infinite);
    for (int i = 0; i < 2; i++) {
        media_close(state->readers[i]);
        memory_free(state->paths[i]);
    }
    memory_free(state);
}

static enum passel_status pass_open(const struct at *at, void **opened, struct passel_error *error)
{
    const struct pass *pass = at->self;
    struct pass_state *state = memory_zeros(1, sizeof *state);
    if (state == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status = open_readers(pass, at, state, error);
    if (status != PASSEL_OK) {
        pass_close(state, NULL);
        return status;
    }
    describe(pass, at, state);
    *opened = state;
    return PASSEL_OK;
}

static const char *pass_file(const struct at *at, int index)
{
    const struct pass_state *state = at->state;
    return index < state->count ? state->paths[index] : NULL;
}

const struct sequence *pass_sequence(const void *self)
{
    return &((const struct pass *)self)->sequence;
}

/* The settings and the names of the files do not say which frame of a movie it is, or how two files are mixed. */
static bool pass_by_frame(const struct at *at)
{
    const struct pass *pass = at->self;
    const struct pass_state *state = at->state;
    return state->count == 2 || (state->count == 1 && pass->movie);
}

struct metadata pass_metadata(const struct at *at)
{
    const struct pass *pass = at->self;
    const struct pass_state *state = at->state;
    struct metadata metadata = { 0 };
    if (state->count == 0)
        return metadata;
    metadata = media_info(state->readers[0])->metadata;
    if (metadata.has_time_code && (!pass->sequence.numbered || pass->movie)) {
        const int32_t later = pass->movie ? state->inner : at->frame - at->shot->frames[0];
        time_code_advance(metadata.time_code, later, at->shot->rate_num, at->shot->rate_den);
    }
    return metadata;
}

static enum passel_status pass_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    const struct pass_state *state = at->state;
    *info = state->info;
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

static void row_premultiply(const struct picture *out, int32_t y, size_t width)
{
    const float *restrict a = picture_row(out, PLANE_A, y);
    for (int p = 0; p < PLANE_A; p++) {
        if (out->plane[p] == NULL)
            continue;
        float *restrict c = picture_row(out, (enum plane)p, y);
        for (size_t x = 0; x < width; x++)
            c[x] *= a[x];
    }
}

/* From the file's numbers to light: encoding, primaries, alpha. */
static void to_light(const struct pass *pass, const struct at *at, const struct media_info *info,
                     const struct picture *out)
{
    const struct encoding encoding = encoding_setting(
        pass->encoding, info->has_encoding ? info->encoding
                                           : (struct encoding){ .curve = info->sample == SAMPLE_UINT && info->bits <= 16
                                                                             ? ENCODING_SRGB
                                                                             : ENCODING_LINEAR });
    const struct primaries *from = pass->primaries != NULL ? primaries_named(pass->primaries)
                                   : info->has_primaries   ? &info->primaries
                                                           : primaries_named("rec709");
    const bool convert = picture_planes(out) >= HAS_RGB && !primaries_same(from, &at->shot->primaries);
    const bool straight =
        pass->alpha != NULL ? pass->alpha->choice == ALPHA_WORD_STRAIGHT : info->alpha == ALPHA_STRAIGHT;
    double m[9];
    const bool matrix = convert && primaries_matrix(from, &at->shot->primaries, m);
    const size_t width = (size_t)rect_width(out->area);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        for (int p = 0; p < PLANE_A; p++) {
            if (out->plane[p] != NULL && encoding.curve != ENCODING_LINEAR)
                encoding_undo(encoding, picture_row(out, (enum plane)p, y), width);
        }
        if (matrix)
            matrix_apply(m, picture_row(out, PLANE_R, y), picture_row(out, PLANE_G, y), picture_row(out, PLANE_B, y),
                         width);
        if (straight && out->plane[PLANE_A] != NULL)
            row_premultiply(out, y, width);
    }
}

static enum passel_status read_full(const struct at *at, int index, const struct picture *out,
                                    struct passel_error *error)
{
    struct pass_state *state = at->state;
    const struct media_info *info = media_info(state->readers[index]);
    struct media_faults faults = { 0 };
    struct picture in_file = *out;
    in_file.area = rect_shift(out->area, info->display.x0, info->display.y0);
    const enum passel_status status = media_read(state->readers[index], state->inner, &in_file, &faults, error);
    atomic_fetch_add(&state->nan, faults.nan);
    atomic_fetch_add(&state->infinite, faults.infinite);
    if (status == PASSEL_OK)
        to_light(at->self, at, info, out);
    return status;
}

/* Adds a row's cells of `scale` pixels to `to`; x0 is the full-size place of to[0]. */
static void add_cells(float *to, int32_t width, const float *from, int32_t x0, const struct picture *full, int scale)
{
    const int32_t first = full->area.x0, end = full->area.x1;
    for (int32_t x = 0; x < width; x++) {
        const int32_t a = x0 + x * scale > first ? x0 + x * scale : first;
        const int32_t b = x0 + (x + 1) * scale < end ? x0 + (x + 1) * scale : end;
        float sum = 0;
        for (int32_t u = a; u < b; u++)
            sum += from[u - first];
        to[x] += sum;
    }
}

/* Mean of scale × scale pixels, as many of them as lie inside `display`; those without pixels in the file are 0. */
static void reduce(const struct picture *out, const struct picture *full, struct rect display, int scale)
{
    const int32_t width = rect_width(out->area);
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = out->area.y0; y < out->area.y1 && out->plane[p] != NULL && full->plane[p] != NULL; y++) {
            float *to = picture_row(out, (enum plane)p, y);
            const int32_t below = (y + 1) * scale, rows = y >= 0 && y * scale < display.y1 && below > display.y1
                                                              ? display.y1 - y * scale
                                                              : scale;
            for (int32_t v = y * scale > full->area.y0 ? y * scale : full->area.y0;
                 v < (below < full->area.y1 ? below : full->area.y1); v++)
                add_cells(to, width, picture_row(full, (enum plane)p, v), out->area.x0 * scale, full, scale);
            for (int32_t x = 0; x < width; x++) {
                const int32_t left = (out->area.x0 + x) * scale;
                const int32_t columns =
                    left >= 0 && left < display.x1 && left + scale > display.x1 ? display.x1 - left : scale;
                to[x] /= (float)(rows * columns);
            }
        }
    }
}

/* Reads one of the files at the scale asked for. Planes that it lacks: alpha 1, colour as its alpha. */
static enum passel_status read_one(const struct at *at, int index, const struct picture *out,
                                   struct passel_error *error)
{
    const struct pass_state *state = at->state;
    const struct media_info *info = media_info(state->readers[index]);
    const int scale = at->scale;
    /* Straight alpha has to be read even when only colour is wanted. */
    const unsigned wanted = picture_planes(out);
    const bool needs_alpha = (info->planes & HAS_A) != 0 && (wanted & HAS_A) == 0;
    if (scale == 1 && !needs_alpha && rect_holds(data_of(info), out->area) && (wanted & ~info->planes) == 0)
        return read_full(at, index, out, error);
    struct rect full_area =
        rect_of(out->area.x0 * scale, out->area.y0 * scale, out->area.x1 * scale, out->area.y1 * scale);
    full_area = rect_cut(full_area, data_of(info));
    struct picture full;
    const unsigned in_file = (wanted | HAS_A) & info->planes, made_up = wanted & HAS_A & ~info->planes;
    RETURN_IF_ERROR(picture_new(&full, full_area, in_file | made_up, error));
    struct picture read = full;
    if (made_up != 0)
        read.plane[PLANE_A] = NULL;
    const enum passel_status status = rect_empty(full_area) ? PASSEL_OK : read_full(at, index, &read, error);
    if (made_up != 0)
        picture_fill(&full, PLANE_A, full_area, 1);
    if (status == PASSEL_OK) {
        for (int p = 0; p < PLANE_COUNT; p++)
            picture_fill(out, (enum plane)p, out->area, 0);
        if (scale == 1)
            picture_copy(out, &full);
        else
            reduce(out, &full, display_of(info), scale);
    }
    picture_release(&full);
    return status;
}

static enum passel_status pass_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    (void)in;
    (void)scratch;
    const struct pass_state *state = at->state;
    if (state->count == 1)
        return read_one(at, 0, out, error);
    struct picture second;
    RETURN_IF_ERROR(picture_new(&second, out->area, picture_planes(out), error));
    enum passel_status status = read_one(at, 0, out, error);
    if (status == PASSEL_OK)
        status = read_one(at, 1, &second, error);
    for (int p = 0; p < PLANE_COUNT && status == PASSEL_OK; p++) {
        if (out->plane[p] == NULL)
            continue;
        for (int32_t y = out->area.y0; y < out->area.y1; y++) {
            float *restrict to = picture_row(out, (enum plane)p, y);
            const float *restrict from = picture_row(&second, (enum plane)p, y);
            for (int32_t x = 0; x < rect_width(out->area); x++)
                to[x] = to[x] * (1 - state->weight) + from[x] * state->weight;
        }
    }
    picture_release(&second);
    return status;
}

const struct kind kind_pass = {
    .schema = { .name = "pass",
                .summary = "A still, a numbered sequence or a movie from disk.",
                .notes =
                    "Without `use` or `start`, shot frame 1003 reads file 1003; `use A-B` without `start` lands its "
                    "first frame on the shot's first. A still serves every frame. Formats: OpenEXR, PNG, TIFF, "
                    "JPEG and YUV4MPEG2 video.",
                .example = "bolt = pass passes/flash.####.exr\n"
                           "  use     12-40\n"
                           "  start   1008\n"
                           "  beyond  nothing\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = pass_make,
    .release = pass_release,
    .open = pass_open,
    .close = pass_close,
    .file = pass_file,
    .by_frame = pass_by_frame,
    .info = pass_info,
    .fill = pass_fill,
};

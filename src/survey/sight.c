/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/sight.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/survey_track.h"

/* Widths of a picture to hold against other lamps, and of one to show. */
enum { STANCE_ACROSS = 960, THUMB_ACROSS = 240 };

/* Of tall pictures noise is measured in every third row of blocks. */
enum { NOISE_ROWS = 16, NOISE_STEP = 48, NOISE_TALL = 720 };

static enum passel_status measure_noise(const struct picture *picture, enum plane plane, struct noise *noise,
                                        struct passel_error *error)
{
    struct noise_samples samples = { 0 };
    const struct rect area = picture->area;
    enum passel_status status = PASSEL_OK;
    if (rect_height(area) < NOISE_TALL)
        status = noise_gather(&samples, picture, plane, error);
    for (int32_t y = area.y0; rect_height(area) >= NOISE_TALL && y + NOISE_ROWS <= area.y1 && status == PASSEL_OK;
         y += NOISE_STEP) {
        const struct picture rows =
            picture_part(picture, (struct rect){ .x0 = area.x0, .y0 = y, .x1 = area.x1, .y1 = y + NOISE_ROWS });
        status = noise_gather(&samples, &rows, plane, error);
    }
    *noise = noise_fit(&samples);
    noise_samples_release(&samples);
    return status;
}

/* The sum of the colours: light of any colour has its edges in it. */
static enum passel_status grey_of(const struct look *look, struct grey *grey, struct passel_error *error)
{
    *grey = (struct grey){ .across = look->across, .down = look->down, .block = look->block };
    grey->values = memory_new(look_count(look) * sizeof *grey->values);
    if (grey->values == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const size_t count = look_count(look);
    for (size_t i = 0; i < count; i++)
        grey->values[i] = look->plane[0][i] + look->plane[1][i] + look->plane[2][i];
    return PASSEL_OK;
}

static void keen_free(struct keen *keen)
{
    if (keen == NULL)
        return;
    memory_free(keen->spots);
    memory_free(keen->stance.values);
    detail_map_release(&keen->detail);
    memory_free(keen);
}

static enum passel_status take_keen(const struct reading *reading, struct keen *keen, struct passel_error *error)
{
    struct look look;
    for (int c = 0; c < 3; c++)
        RETURN_IF_ERROR(measure_noise(&reading->picture, (enum plane)c, &keen->noise[c], error));
    struct spot *spots = memory_new(SPOTS_MOST * sizeof *spots);
    if (spots == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    keen->spot_count = gauge_spots(&reading->picture, keen->noise, spots);
    keen->spots = memory_grow(spots, SPOTS_MOST, (size_t)keen->spot_count + 1, sizeof *spots);
    if (keen->spots == NULL)
        keen->spots = spots;
    RETURN_IF_ERROR(gauge_detail(&reading->picture, &keen->detail, error));
    RETURN_IF_ERROR(look_make(reading, look_block(reading->width, STANCE_ACROSS), &look, error));
    const enum passel_status status = grey_of(&look, &keen->stance, error);
    look_release(&look);
    return status;
}

/* A smaller one of a small picture. */
static enum passel_status look_again(const struct look *small, int32_t times, struct look *look,
                                     struct passel_error *error)
{
    const struct reading reading = { .picture = { .area = rect_of(0, 0, small->across, small->down),
                                                  .plane = { small->plane[0], small->plane[1], small->plane[2], NULL },
                                                  .stride = (size_t)small->across },
                                     .width = small->across,
                                     .height = small->down };
    RETURN_IF_ERROR(look_make(&reading, times, look, error));
    look->block = small->block * times;
    return PASSEL_OK;
}

/* What is made of the frame made small. */
static enum passel_status take_small(struct sight *sight, const struct look *small, int32_t width, unsigned missing,
                                     struct passel_error *error)
{
    const int32_t block = look_block(width, PORTRAIT_ACROSS);
    if ((missing & SIGHT_TRACK) != 0) {
        memory_free(sight->track.values);
        RETURN_IF_ERROR(grey_of(small, &sight->track, error));
    }
    if ((missing & SIGHT_THUMB) != 0)
        RETURN_IF_ERROR(look_again(small, look_block(small->across, THUMB_ACROSS), &sight->thumb, error));
    if ((missing & SIGHT_LOOK) != 0 && block % small->block == 0)
        RETURN_IF_ERROR(look_again(small, block / small->block, &sight->look, error));
    return PASSEL_OK;
}

/* What looks at the rows of a frame as they come by. */
struct sweep {
    bool gauges, looks;
    struct look_maker look;
    struct flash_view *flash; /* or NULL */
    struct low_run low;       /* with the thumb */
};

static enum passel_status sweep_begin(struct sweep *sweep, const struct reading *reading, unsigned missing,
                                      struct sight_room *room, struct passel_error *error)
{
    const int32_t block = look_block(reading->width, PORTRAIT_ACROSS);
    *sweep = (struct sweep){ 0 };
    if ((missing & SIGHT_FLASH) != 0)
        RETURN_IF_ERROR(flash_gauge_view(reading, &sweep->flash, error));
    if ((missing & SIGHT_THUMB) != 0)
        RETURN_IF_ERROR(low_begin(reading->width, reading->height, PORTRAIT_ACROSS, &sweep->low, error));
    if ((missing & (SIGHT_GAUGE | SIGHT_TRACK | SIGHT_THUMB)) != 0) {
        RETURN_IF_ERROR(gauge_begin(reading, &room->small, &room->gauge, error));
        sweep->gauges = true;
    }
    /* Else it is made of the frame made small. */
    if ((missing & SIGHT_LOOK) != 0 && !(sweep->gauges && block % room->gauge.small.look.block == 0)) {
        RETURN_IF_ERROR(look_begin(reading->width, reading->height, block, NULL, &sweep->look, error));
        sweep->looks = true;
    }
    return PASSEL_OK;
}

static enum passel_status sweep_rows(struct sweep *sweep, struct reading_run *run, struct sight_room *room,
                                     struct passel_error *error)
{
    for (;;) {
        RETURN_IF_ERROR(reading_rows(run, error));
        if (rect_empty(run->rows.area))
            return PASSEL_OK;
        if (sweep->gauges)
            gauge_rows(&room->gauge, &run->rows);
        if (sweep->looks)
            look_rows(&sweep->look, &run->rows);
        if (sweep->low.counts != NULL)
            low_rows(&sweep->low, &run->rows);
        if (sweep->flash != NULL)
            flash_view_strip(sweep->flash, &run->rows);
    }
}

static void sweep_end(struct sweep *sweep, struct sight *sight, const struct reading *reading, struct sight_room *room)
{
    if (sweep->gauges)
        gauge_end(&room->gauge, reading, &sight->gauge, &room->small);
    if (sweep->looks)
        sight->look = look_end(&sweep->look);
}

static enum passel_status take_rows(struct sight *sight, struct reading_run *run, unsigned missing,
                                    struct sight_room *room, struct passel_error *error)
{
    struct sweep sweep;
    enum passel_status status = sweep_begin(&sweep, &run->reading, missing, room, error);
    if (status == PASSEL_OK)
        status = sweep_rows(&sweep, run, room, error);
    sweep_end(&sweep, sight, &run->reading, room);
    if (status == PASSEL_OK && sweep.gauges)
        status = take_small(sight, &room->small, run->reading.width, missing, error);
    if (status == PASSEL_OK && sweep.low.counts != NULL)
        status = low_end(&sweep.low, &sight->low, error);
    memory_free(sweep.low.counts);
    if (status == PASSEL_OK && sweep.flash != NULL) {
        sight->flash = flash_view_grid(sweep.flash);
        if (sight->flash == NULL)
            status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    flash_view_free(sweep.flash);
    return status;
}

static enum passel_status take_all(struct sight *sight, struct reading_run *run, unsigned wants,
                                   struct sight_room *room, struct passel_error *error)
{
    const unsigned missing = wants & ~sight->has;
    RETURN_IF_ERROR(take_rows(sight, run, missing, room, error));
    if ((missing & SIGHT_KEEN) != 0) {
        sight->keen = memory_zeros(1, sizeof *sight->keen);
        if (sight->keen == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        RETURN_IF_ERROR(take_keen(&run->reading, sight->keen, error));
    }
    sight->has |= wants;
    return PASSEL_OK;
}

/* Half a frame says nothing. */
static void forget_part(struct sight *sight)
{
    if ((sight->has & SIGHT_LOOK) == 0)
        look_release(&sight->look);
    if ((sight->has & SIGHT_GAUGE) == 0)
        sight->gauge = (struct frame_gauge){ 0 };
}

void sight_take(struct sight *sight, const char *folder, const struct clip *clip, bool movie, int index, unsigned wants,
                struct sight_room *room)
{
    struct reading_run run = { 0 };
    struct passel_error error = { 0 };
    if (sight->read && (sight->status != PASSEL_OK || (wants & ~sight->has) == 0))
        return;
    char *path = clip_path(folder, clip, movie ? 0 : index);
    const bool keen = (wants & ~sight->has & SIGHT_KEEN) != 0;
    sight->read = true;
    sight->status = path == NULL
                        ? PASSEL_NO_MEMORY
                        : reading_begin(path, movie ? index : 0, &clip->choice, keen, &room->reading, &run, &error);
    memory_free(path);
    if (sight->status == PASSEL_OK)
        sight->status = take_all(sight, &run, wants, room, &error);
    if (sight->status == PASSEL_OK) {
        sight->header = run.reading;
        sight->header.picture = (struct picture){ 0 };
    } else {
        forget_part(sight);
    }
    reading_end(&run);
    (void)snprintf(sight->problem, sizeof sight->problem, "%.*s", (int)sizeof sight->problem - 1, error.text);
    (void)snprintf(sight->gauge.problem, sizeof sight->gauge.problem, "%.*s", (int)sizeof sight->gauge.problem - 1,
                   error.text);
    sight->gauge.status = sight->status;
}

void sight_follow(struct sight *sight, const struct grey *first)
{
    if (sight->track.values == NULL || &sight->track == first)
        return;
    sight->followed = sight->track.across == first->across && sight->track.down == first->down &&
                      track_shift(first->values, sight->track.values, first->across, first->down, &sight->x, &sight->y);
    sight->x *= first->block;
    sight->y *= first->block;
    memory_free(sight->track.values);
    sight->track.values = NULL;
}

struct sight_room *sight_rooms_new(int threads)
{
    return memory_zeros((size_t)threads, sizeof(struct sight_room));
}

void sight_rooms_free(struct sight_room *rooms, int threads)
{
    for (int i = 0; rooms != NULL && i < threads; i++) {
        reading_room_release(&rooms[i].reading);
        look_release(&rooms[i].small);
    }
    memory_free(rooms);
}

int sight_sample(int frames, int k)
{
    return frames <= PORTRAIT_SAMPLES ? k : (int)((int64_t)k * (frames - 1) / (PORTRAIT_SAMPLES - 1));
}

unsigned sight_wants(unsigned wants, int frames, int index)
{
    const int middle = frames <= PORTRAIT_SAMPLES ? frames / 2 : sight_sample(frames, PORTRAIT_SAMPLES / 2);
    if (frames <= 1)
        wants &= ~(unsigned)SIGHT_TRACK;
    if (index != 0 && index != frames - 1)
        wants &= ~(unsigned)SIGHT_KEEN;
    if (index != middle)
        wants &= ~(unsigned)SIGHT_THUMB;
    if (frames < FLASH_FRAMES_LEAST)
        wants &= ~(unsigned)SIGHT_FLASH;
    return wants;
}

bool sights_stand(struct clip *clip)
{
    for (int i = 0; i < clip->sight_count && !clip->stands; i++) {
        if (clip->sights[i].track.values == NULL)
            continue;
        clip->stand = i;
        clip->stands = clip->sights[i].followed = true;
    }
    return clip->stands;
}

void sight_release(struct sight *sight)
{
    look_release(&sight->look);
    look_release(&sight->thumb);
    low_map_release(&sight->low);
    memory_free(sight->track.values);
    memory_free(sight->flash);
    keen_free(sight->keen);
    *sight = (struct sight){ 0 };
}

enum passel_status sights_begin(struct clip *clip, int count, struct passel_error *error)
{
    if (clip->sights != NULL)
        return PASSEL_OK;
    clip->sights = memory_zeros((size_t)count + 1, sizeof *clip->sights);
    if (clip->sights == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    clip->sight_count = count;
    return PASSEL_OK;
}

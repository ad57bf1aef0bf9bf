/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What travels beside the pixels, and the arithmetic of time codes (SMPTE ST 12-1, packed as OpenEXR does: binary coded
 * decimals; frame units in bits 0-3, tens 4-5, drop-frame flag 6, seconds 8-14, minutes 16-22, hours 24-29).
 */
#include "base/error.h"
#include "base/memory.h"
#include "media/media.h"

#include <string.h>

void metadata_release(struct metadata *metadata)
{
    memory_free(metadata->owner);
    memory_free(metadata->comments);
    *metadata = (struct metadata){ .has_time_code = false };
}

static bool copy_text(char **to, const char *from)
{
    if (from == NULL)
        return true;
    const size_t size = strlen(from) + 1;
    *to = memory_new(size);
    if (*to != NULL)
        memcpy(*to, from, size);
    return *to != NULL;
}

enum passel_status metadata_copy(struct metadata *to, const struct metadata *from, struct passel_error *error)
{
    struct metadata copy = *from;
    copy.owner = copy.comments = NULL;
    if (!copy_text(&copy.owner, from->owner) || !copy_text(&copy.comments, from->comments)) {
        metadata_release(&copy);
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    }
    *to = copy;
    return PASSEL_OK;
}

/* Time code */

enum {
    DROP_FLAG = 1 << 6,
    FRAME_SHIFT = 0,
    SECOND_SHIFT = 8,
    MINUTE_SHIFT = 16,
    HOUR_SHIFT = 24,
    FRAME_TENS = 3,  /* two bits: frame numbers go up to 39 */
    SECOND_TENS = 7, /* three bits */
    MINUTE_TENS = 7,
    HOUR_TENS = 3,
    MOST_FRAMES = 40
};

/* How frames are numbered: `rate` numbers a second, of which `dropped` are left out at the start of every minute but
 * each tenth. */
struct numbering {
    int64_t rate, dropped;
};

static int64_t field_get(uint32_t packed, int shift, uint32_t tens)
{
    const uint32_t field = packed >> shift;
    return (int64_t)(field >> 4 & tens) * 10 + (field & 15u);
}

static uint32_t field_put(uint32_t packed, int shift, uint32_t tens, int64_t value)
{
    const uint32_t field = (uint32_t)(value / 10) << 4 | (uint32_t)(value % 10);
    return (packed & ~((tens << 4 | 15u) << shift)) | field << shift;
}

static int64_t day_frames(struct numbering n)
{
    return 24 * 6 * (600 * n.rate - 9 * n.dropped);
}

/* The count of frames since 00:00:00:00. */
static int64_t time_code_count(uint32_t packed, struct numbering n)
{
    const int64_t minutes =
        60 * field_get(packed, HOUR_SHIFT, HOUR_TENS) + field_get(packed, MINUTE_SHIFT, MINUTE_TENS);
    const int64_t seconds = 60 * minutes + field_get(packed, SECOND_SHIFT, SECOND_TENS);
    return n.rate * seconds + field_get(packed, FRAME_SHIFT, FRAME_TENS) - n.dropped * (minutes - minutes / 10);
}

static uint32_t time_code_put(uint32_t packed, int64_t count, struct numbering n)
{
    const int64_t minute = 60 * n.rate - n.dropped, tenth = 10 * minute + n.dropped;
    const int64_t tens = count / tenth, rest = count % tenth;
    int64_t number = count + 9 * n.dropped * tens;
    if (rest >= minute + n.dropped)
        number += n.dropped * ((rest - n.dropped) / minute);
    packed = field_put(packed, FRAME_SHIFT, FRAME_TENS, number % n.rate);
    packed = field_put(packed, SECOND_SHIFT, SECOND_TENS, number / n.rate % 60);
    packed = field_put(packed, MINUTE_SHIFT, MINUTE_TENS, number / (60 * n.rate) % 60);
    return field_put(packed, HOUR_SHIFT, HOUR_TENS, number / (3600 * n.rate) % 24);
}

/* Above 30 frames a second a time code numbers pairs (or more) of frames, as many as bring the numbers into range. */
static int64_t frames_per_number(int64_t rate)
{
    int64_t frames = 1;
    while (rate > MOST_FRAMES * frames || (rate > 30 * frames && rate % (2 * frames) == 0))
        frames *= 2;
    return frames;
}

void time_code_advance(uint32_t time_code[2], int32_t frames, int32_t rate_num, int32_t rate_den)
{
    if (rate_num <= 0 || rate_den <= 0)
        return;
    const int64_t rounded = ((int64_t)rate_num + rate_den / 2) / rate_den;
    const int64_t rate = rounded > 0 ? rounded : 1;
    const int64_t step = frames_per_number(rate);
    struct numbering n = { rate / step, 0 };
    if ((time_code[0] & DROP_FLAG) != 0 && n.rate % 30 == 0)
        n.dropped = n.rate / 15;
    const int64_t day = day_frames(n);
    const int64_t moved = frames >= 0 ? frames / step : -((-(int64_t)frames + step - 1) / step);
    const int64_t count = ((time_code_count(time_code[0], n) + moved) % day + day) % day;
    time_code[0] = time_code_put(time_code[0], count, n);
}

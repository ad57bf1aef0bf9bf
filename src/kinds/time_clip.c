/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/time_clip.h"

#include <math.h>

/* ---- from shot frames to positions ----------------------------------------------------------------------------- */

/* A span within two keys: the speed is a cubic at most there, for which two points (of Gauss and Legendre) give the
 * exact integral. Neither lies on an end, where a held key jumps. */
static double span_distance(const struct value *speed, double from, double to)
{
    const double middle = 0.5 * (from + to), offset = (to - from) * 0.28867513459481288225; /* sqrt(3) / 6 */
    return 0.5 * (to - from) * (value_at(speed, 0, middle - offset, 1) + value_at(speed, 0, middle + offset, 1));
}

/* The end of the span from `from` on within which the speed is a cubic: the next key, and for what a generator makes
 * (which is no cubic) the next frame. */
static double span_end(const struct track *track, double from, double frame)
{
    double end = frame;
    if (track->generators != NULL && frame - from < 100000)
        end = fmin(end, floor(from) + 1);
    for (int key = 0; key < track->count; key++) {
        if (track->frames[key] > from)
            return fmin(end, track->frames[key]);
    }
    return end;
}

double clip_distance(const struct value *speed, double start, double frame)
{
    if (!value_changes(speed))
        return value_at(speed, 0, start, 1) * (frame - start);
    if (frame < start)
        return -clip_distance(speed, frame, start);
    const struct track *track = speed->track != NULL ? speed->track : speed->curve->track;
    double sum = 0;
    for (double from = start; from < frame;) {
        const double end = span_end(track, from, frame);
        sum += span_distance(speed, from, end);
        from = end;
    }
    return sum;
}

/* ---- the clip -------------------------------------------------------------------------------------------------- */

int32_t clip_part_length(struct clip_part part)
{
    return (part.last >= part.first ? part.last - part.first : part.first - part.last) + 1;
}

int64_t clip_length(const struct clip *clip)
{
    int64_t length = 0;
    for (int i = 0; i < clip->count; i++)
        length += clip_part_length(clip->parts[i]) - (i > 0 ? clip->dissolve : 0);
    return length;
}

static double wrapped(double position, double round)
{
    const double rest = position - floor(position / round) * round;
    return rest < round ? rest : 0; /* the division may have rounded up */
}

/* Brings a position into 0 … length; false when nothing is there. */
static bool bring_inside(const struct clip *clip, double *position, enum clip_answer *answer)
{
    const double length = (double)clip_length(clip);
    if (clip->beyond == CLIP_TO_AND_FRO) {
        const double round = 2 * (length - 1);
        const double rest = length > 1 ? wrapped(*position, round) : 0;
        *position = rest < length - 1 ? rest : round - rest;
        return true;
    }
    if (*position >= 0 && *position < length)
        return true;
    switch (clip->beyond) {
    case CLIP_FREEZE:
        *position = *position < 0 ? 0 : length - 1;
        return true;
    case CLIP_REPEAT:
        *position = wrapped(*position, length);
        return true;
    case CLIP_NOTHING:
        *answer = CLIP_SHOWS_NOTHING;
        return false;
    default:
        *answer = CLIP_RUNS_OFF;
        return false;
    }
}

/* The moment at `offset` frames into a part, held at its ends. */
static struct clip_moment part_moment(struct clip_part part, double offset, double weight)
{
    const int32_t step = part.last >= part.first ? 1 : -1;
    struct clip_moment moment = { .weight = weight };
    if (offset <= 0) {
        moment.frame = part.first;
    } else if (offset >= clip_part_length(part) - 1) {
        moment.frame = part.last;
    } else {
        const double whole = floor(offset);
        moment.frame = part.first + step * (int32_t)whole;
        moment.next_share = offset - whole;
    }
    moment.next = moment.next_share > 0 ? moment.frame + step : moment.frame;
    return moment;
}

static enum clip_answer endless_at(const struct clip *clip, double position, struct clip_moment moments[2], int *count)
{
    const double frame = (double)clip->origin + position;
    if (!(fabs(frame) < 2e9))
        return CLIP_RUNS_OFF;
    const int32_t whole = (int32_t)floor(frame);
    const double share = frame - floor(frame);
    moments[0] =
        (struct clip_moment){ .frame = whole, .next = share > 0 ? whole + 1 : whole, .next_share = share, .weight = 1 };
    *count = 1;
    return CLIP_SHOWS;
}

/* How much of the later part shows: `into` is the distance from its first frame. */
static double dissolved(const struct clip *clip, double into)
{
    if (clip->dissolve == 0)
        return into >= 0 ? 1 : 0;
    return fmin(fmax((into + 1) / ((double)clip->dissolve + 1), 0), 1);
}

static double settled(double position)
{
    const double whole = floor(position + 0.5);
    return fabs(position - whole) < 1e-7 ? whole : position;
}

enum clip_answer clip_at(const struct clip *clip, double position, bool whole_frames, struct clip_moment moments[2],
                         int *count)
{
    enum clip_answer answer = CLIP_SHOWS;
    *count = 0;
    if (!(fabs(position) < 1e15))
        return CLIP_RUNS_OFF;
    position = settled(position);
    if (clip->count > 0 && !bring_inside(clip, &position, &answer))
        return answer;
    position = settled(position);
    if (whole_frames) {
        position = ceil(position - 0.5);
        if (clip->count > 0)
            position = fmin(position, (double)clip_length(clip) - 1);
    }
    if (clip->count == 0)
        return endless_at(clip, position, moments, count);
    int64_t begin = 0; /* of the part, in positions */
    double shown = 1;  /* of this part and those behind it */
    for (int i = 0; i < clip->count; i++) {
        const int64_t next_begin = begin + clip_part_length(clip->parts[i]) - clip->dissolve;
        const double later = i + 1 < clip->count ? dissolved(clip, position - (double)next_begin) : 0;
        if (shown > later && *count < 2) {
            moments[*count] = part_moment(clip->parts[i], position - (double)begin, shown - later);
            moments[(*count)++].part = i;
        }
        begin = next_begin;
        shown = later;
    }
    return CLIP_SHOWS;
}

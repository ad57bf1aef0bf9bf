/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The header line: YUV4MPEG2 and tags of one letter, separated by spaces.
 */
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "media/video.h"

enum { SIDE_LIMIT = 1 << 16, HD_HEIGHT = 720 };
#define PIXEL_LIMIT ((int64_t)1 << 28)

/* Names of chroma, longest of a kind first; what follows a name must be its depth ("p10") or nothing. */
static const struct sampling {
    const char *name;
    int planes, across, down;
    double site_x, site_y[2];
    const char *description;
} samplings[] = {
    { "420jpeg", 3, 2, 2, 0.5, { 0.5, 0.5 }, "4:2:0" }, { "420mpeg2", 3, 2, 2, 0, { 0.5, 0.5 }, "4:2:0" },
    { "420paldv", 3, 2, 2, 0, { 1, 0 }, "4:2:0" }, /* Cr on even rows, Cb on odd ones */
    { "420p", 3, 2, 2, 0, { 0.5, 0.5 }, "4:2:0" }, /* deeper samples come from decoders that site as MPEG-2 does */
    { "420", 3, 2, 2, 0.5, { 0.5, 0.5 }, "4:2:0" },     { "411", 3, 4, 1, 0, { 0, 0 }, "4:1:1" },
    { "422", 3, 2, 1, 0, { 0, 0 }, "4:2:2" },           { "444alpha", 4, 1, 1, 0, { 0, 0 }, "4:4:4 with alpha" },
    { "444", 3, 1, 1, 0, { 0, 0 }, "4:4:4" },           { "mono", 1, 1, 1, 0, { 0, 0 }, "grey" },
};

enum { SAMPLING_COUNT = sizeof samplings / sizeof samplings[0] };

/* What follows the name: nothing, "p10", "10" (mono) or, when the p is in the name, "10". 0 when it is none of these.
 */
static int depth_of(const char *rest)
{
    static const char *const names[] = { "9", "10", "12", "14", "16" };
    static const int depths[] = { 9, 10, 12, 14, 16 };
    if (*rest == '\0')
        return 8;
    if (*rest == 'p')
        rest++;
    for (size_t i = 0; i < sizeof depths / sizeof depths[0]; i++)
        if (strcmp(rest, names[i]) == 0)
            return depths[i];
    return 0;
}

static enum passel_status parse_colour(const char *name, struct video_layout *layout, struct passel_error *error)
{
    for (int i = 0; i < SAMPLING_COUNT; i++) {
        const struct sampling *sampling = &samplings[i];
        const size_t length = strlen(sampling->name);
        if (strncmp(name, sampling->name, length) != 0)
            continue;
        const int bits = depth_of(name + length);
        if (bits == 0 || (bits == 8 && sampling->name[length - 1] == 'p'))
            break;
        layout->planes = sampling->planes;
        layout->across = sampling->across;
        layout->down = sampling->down;
        layout->site_x = sampling->site_x;
        memcpy(layout->site_y, sampling->site_y, sizeof layout->site_y);
        layout->bits = bits;
        return PASSEL_OK;
    }
    return error_set(error, PASSEL_UNSUPPORTED, "video colour C%s is not served", name);
}

const char *video_sampling(const struct video_layout *layout)
{
    int i = 0;
    while (i < SAMPLING_COUNT - 1 && (samplings[i].planes != layout->planes || samplings[i].across != layout->across ||
                                      samplings[i].down != layout->down))
        i++;
    return samplings[i].description;
}

/* A whole number without sign, ended by `end`; false when it is none or too large. */
static bool parse_number(const char *text, char end, int32_t *value, const char **rest)
{
    int64_t number = 0;
    const char *at = text;
    for (; *at >= '0' && *at <= '9'; at++) {
        number = number * 10 + (*at - '0');
        if (number > INT32_MAX)
            return false;
    }
    *value = (int32_t)number;
    *rest = at + 1;
    return at > text && *at == end;
}

static bool parse_ratio(const char *text, int32_t *num, int32_t *den)
{
    const char *rest = NULL;
    return parse_number(text, ':', num, &rest) && parse_number(rest, '\0', den, &rest);
}

static enum passel_status bad_tag(const char *tag, struct passel_error *error)
{
    return error_set(error, PASSEL_BAD_FILE, "is damaged: %.40s means nothing in its header", tag);
}

static enum passel_status parse_aspect(const char *tag, struct video_layout *layout, struct passel_error *error)
{
    int32_t num = 0, den = 0;
    if (!parse_ratio(tag + 1, &num, &den))
        return bad_tag(tag, error);
    if (num > 0 && den > 0)
        layout->pixel_aspect = (double)num / den;
    return PASSEL_OK;
}

static enum passel_status parse_rate(const char *tag, struct video_layout *layout, struct passel_error *error)
{
    if (!parse_ratio(tag + 1, &layout->rate_num, &layout->rate_den))
        return bad_tag(tag, error);
    if (layout->rate_num == 0 || layout->rate_den == 0)
        layout->rate_num = layout->rate_den = 0;
    return PASSEL_OK;
}

static enum passel_status parse_tag(const char *tag, struct video_layout *layout, struct passel_error *error)
{
    const char *rest = NULL;
    switch (tag[0]) {
    case 'W':
        return parse_number(tag + 1, '\0', &layout->width, &rest) ? PASSEL_OK : bad_tag(tag, error);
    case 'H':
        return parse_number(tag + 1, '\0', &layout->height, &rest) ? PASSEL_OK : bad_tag(tag, error);
    case 'F':
        return parse_rate(tag, layout, error);
    case 'A':
        return parse_aspect(tag, layout, error);
    case 'C':
        return parse_colour(tag + 1, layout, error);
    case 'I':
        if (strcmp(tag + 1, "p") == 0 || strcmp(tag + 1, "?") == 0)
            return PASSEL_OK;
        return error_set(error, PASSEL_UNSUPPORTED, "interlaced video (%.10s) is not served: make it progressive first",
                         tag);
    case 'X':
        if (strcmp(tag, "XCOLORRANGE=FULL") == 0)
            layout->full = true;
        return PASSEL_OK;
    default:
        return PASSEL_OK;
    }
}

enum passel_status video_parse(const char *line, struct video_layout *layout, struct passel_error *error)
{
    static const char magic[] = "YUV4MPEG2";
    char tag[VIDEO_HEADER_LIMIT];
    memset(layout, 0, sizeof *layout);
    layout->pixel_aspect = 1;
    RETURN_IF_ERROR(parse_colour("420jpeg", layout, error));
    if (strncmp(line, magic, sizeof magic - 1) != 0)
        return error_set(error, PASSEL_BAD_FILE, "is damaged: it does not begin with %s", magic);
    for (const char *at = line + sizeof magic - 1; *at;) {
        at += strspn(at, " ");
        const size_t length = strcspn(at, " ");
        if (length >= sizeof tag)
            return error_set(error, PASSEL_BAD_FILE, "is damaged: its header is too long");
        memcpy(tag, at, length);
        tag[length] = '\0';
        RETURN_IF_ERROR(parse_tag(tag, layout, error));
        at += length;
    }
    if (layout->width <= 0 || layout->height <= 0)
        return error_set(error, PASSEL_BAD_FILE, "is damaged: its header has no width or height");
    if (layout->width > SIDE_LIMIT || layout->height > SIDE_LIMIT ||
        (int64_t)layout->width * layout->height > PIXEL_LIMIT)
        return error_set(error, PASSEL_UNSUPPORTED, "video of %dx%d pixels is too large", layout->width,
                         layout->height);
    layout->bt601 = layout->height < HD_HEIGHT;
    return PASSEL_OK;
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The one place that knows how grey and colour pixels spread over planes.
 */
#include "media/choice.h"

#include <string.h>

#include "base/error.h"
#include "media/format.h"

static enum passel_status name_channels(bool colour, bool alpha, struct media_info *info, struct passel_error *error)
{
    static const char *const names[] = { "R", "G", "B", "Y" };
    for (int i = colour ? 0 : 3; i < (colour ? 3 : 4); i++)
        RETURN_IF_ERROR(names_add(&info->channels, names[i], error));
    return alpha ? names_add(&info->channels, "A", error) : PASSEL_OK;
}

static enum passel_status choose_one(const char *name, bool alpha, struct media_info *info,
                                     struct channel_choice *channels, struct passel_error *error)
{
    int at = 0;
    while (info->channels[at] && strcmp(info->channels[at], name) != 0)
        at++;
    if (!info->channels[at])
        return error_set(error, PASSEL_BAD_USE, "has no channels %s (it has %s)", name,
                         info->channels[1] ? (alpha ? (at == 4 ? "R, G, B, A" : "Y, A") : "R, G, B") : "Y");
    const bool matte = strcmp(name, "A") == 0;
    for (int p = 0; p < PLANE_COUNT; p++)
        channels->source[p] = (p == PLANE_A) == matte ? at : -1;
    info->planes = matte ? HAS_A : HAS_RGB;
    info->alpha = ALPHA_NONE;
    return PASSEL_OK;
}

enum passel_status channels_choose(const struct media_choice *choice, bool colour, enum alpha_form alpha,
                                   struct media_info *info, struct channel_choice *channels, struct passel_error *error)
{
    RETURN_IF_ERROR(name_channels(colour, alpha != ALPHA_NONE, info, error));
    if (choice->part && strcmp(choice->part, "0") != 0)
        return error_set(error, PASSEL_BAD_USE, "has no part %s: %s files hold one picture", choice->part,
                         info->format);
    if (choice->channels && choice->channels[0])
        return choose_one(choice->channels, alpha != ALPHA_NONE, info, channels, error);
    for (int p = 0; p < PLANE_A; p++)
        channels->source[p] = colour ? p : 0;
    channels->source[PLANE_A] = alpha == ALPHA_NONE ? -1 : colour ? 3 : 1;
    info->planes = alpha == ALPHA_NONE ? HAS_RGB : HAS_RGBA;
    info->alpha = alpha;
    return PASSEL_OK;
}

void channels_deliver(const struct channel_choice *channels, const float *samples, size_t per_pixel,
                      const struct picture *out, int32_t y, int32_t x, size_t pixels)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (!out->plane[p])
            continue;
        float *restrict row = picture_row(out, (enum plane)p, y) + (x - out->area.x0);
        const int source = channels->source[p];
        if (source < 0) {
            for (size_t i = 0; i < pixels; i++)
                row[i] = 1.0f;
        } else {
            const float *restrict from = samples + source;
            for (size_t i = 0; i < pixels; i++)
                row[i] = from[i * per_pixel];
        }
    }
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * From the header of an OpenEXR file to media_info: parts, channels, windows, what the file says of itself, and which
 * channels feed the planes for the choice made.
 *
 * Layers follow the format's convention of names: "lamp.R" is channel R of layer "lamp", the plain picture has no dot.
 */
#include "media/exr.h"

#include "base/error.h"
#include "base/memory.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Lists names in an error and frees the text. */
static enum passel_status wrong_choice(struct passel_error *error, const char *what, const char *wanted,
                                       char *const *there)
{
    struct text list = { NULL, 0, 0, false };
    for (int i = 0; there != NULL && there[i] != NULL; i++)
        text_print(&list, "%s%s", i > 0 ? ", " : "", there[i][0] != '\0' ? there[i] : "(unnamed)");
    error_set(error, PASSEL_BAD_USE, "has no %s '%s'; there are: %s", what, wanted,
              list.bytes != NULL ? list.bytes : "none");
    text_release(&list);
    return PASSEL_BAD_USE;
}

/* Parts */

static enum passel_status list_parts(const struct exr_file *file, char ***parts, struct passel_error *error)
{
    int count = 0;
    exr_get_count(file->context, &count);
    for (int part = 0; part < count; part++) {
        const char *name = NULL;
        if (exr_get_name(file->context, part, &name) != EXR_ERR_SUCCESS || name == NULL)
            name = "";
        RETURN_IF_ERROR(names_add(parts, name, error));
    }
    return PASSEL_OK;
}

/* A name comes before a number, so that a part that is called "1" can be reached. */
static enum passel_status find_part(char *const *parts, const char *wanted, int *part, struct passel_error *error)
{
    int count = 0;
    *part = 0;
    for (; parts != NULL && parts[count] != NULL; count++)
        if (wanted != NULL && strcmp(parts[count], wanted) == 0) {
            *part = count;
            return PASSEL_OK;
        }
    if (count == 0)
        return error_set(error, PASSEL_BAD_FILE, "has no parts");
    if (wanted == NULL)
        return PASSEL_OK;
    char *end;
    const long number = strtol(wanted, &end, 10);
    if (wanted[0] < '0' || wanted[0] > '9' || *end != '\0' || number >= count)
        return wrong_choice(error, "part", wanted, parts);
    *part = (int)number;
    return PASSEL_OK;
}

/* Channels */

static enum passel_status list_channels(const exr_attr_chlist_t *channels, char ***names, struct passel_error *error)
{
    for (int i = 0; i < channels->num_channels; i++)
        RETURN_IF_ERROR(names_add(names, channels->entries[i].name.str, error));
    return PASSEL_OK;
}

static int find_channel(const exr_attr_chlist_t *channels, const char *layer, const char *name)
{
    const size_t length = strlen(layer);
    for (int i = 0; i < channels->num_channels; i++) {
        const char *full = channels->entries[i].name.str;
        if (length == 0
                ? strcmp(full, name) == 0
                : strncmp(full, layer, length) == 0 && full[length] == '.' && strcmp(full + length + 1, name) == 0)
            return i;
    }
    return -1;
}

static void feed_grey(struct exr_chosen *chosen, int channel)
{
    chosen->source[PLANE_R] = chosen->source[PLANE_G] = chosen->source[PLANE_B] = channel;
}

/* R, G, B, A or Y, A of a layer ("" is the plain picture). False when it has none of them. */
static bool choose_layer(struct exr_chosen *chosen, const char *layer)
{
    static const char *const names[PLANE_COUNT] = { "R", "G", "B", "A" };
    bool colour = false;
    for (int p = 0; p < PLANE_COUNT; p++) {
        chosen->source[p] = find_channel(chosen->channels, layer, names[p]);
        colour = colour || (p != PLANE_A && chosen->source[p] >= 0);
    }
    const int luminance = find_channel(chosen->channels, layer, "Y");
    if (!colour && luminance >= 0) {
        feed_grey(chosen, luminance);
        chosen->through_rgba =
            find_channel(chosen->channels, layer, "RY") >= 0 || find_channel(chosen->channels, layer, "BY") >= 0;
        colour = true;
    }
    return colour || chosen->source[PLANE_A] >= 0;
}

/* A single channel by its full name: a matte when it is an A, else grey. */
static bool choose_single(struct exr_chosen *chosen, const char *name)
{
    const int channel = find_channel(chosen->channels, "", name);
    if (channel < 0)
        return false;
    const char *dot = strrchr(name, '.');
    for (int p = 0; p < PLANE_COUNT; p++)
        chosen->source[p] = -1;
    if (strcmp(dot != NULL ? dot + 1 : name, "A") == 0)
        chosen->source[PLANE_A] = channel;
    else
        feed_grey(chosen, channel);
    return true;
}

static enum passel_status choose_channels(struct exr_chosen *chosen, const char *wanted, char *const *names,
                                          struct passel_error *error)
{
    const bool plain = wanted == NULL || wanted[0] == '\0';
    if (choose_layer(chosen, plain ? "" : wanted))
        return PASSEL_OK;
    if (!plain && choose_single(chosen, wanted))
        return PASSEL_OK;
    return plain ? wrong_choice(error, "plain channels", "R, G, B, A or Y", names)
                 : wrong_choice(error, "layer or channel", wanted, names);
}

/* What the core cannot decode goes through the RGBA interface, which gives the plain picture of the first part only. */
static enum passel_status choose_way(struct exr_chosen *chosen, const char *wanted, struct passel_error *error)
{
    const bool plain = wanted == NULL || wanted[0] == '\0';
    const bool dwa = chosen->compression == EXR_COMPRESSION_DWAA || chosen->compression == EXR_COMPRESSION_DWAB;
    const bool chroma = chosen->through_rgba;
    chosen->through_rgba = chroma || dwa;
    if (!chosen->through_rgba || (plain && chosen->part == 0))
        return PASSEL_OK;
    return error_set(error, PASSEL_UNSUPPORTED, "%s can only be read as the plain picture of the first part",
                     dwa ? "DWA compression" : "luminance/chroma (Y, RY, BY)");
}

/* How the pixels lie in the file */

/* The library counts the lines of a chunk right only where every chunk holds the same number of each channel's. */
static bool lines_even(const struct exr_chosen *chosen)
{
    for (int i = 0; i < chosen->channels->num_channels; i++)
        if (chosen->chunk_rows > 1 && chosen->chunk_rows % chosen->channels->entries[i].y_sampling != 0)
            return false;
    return true;
}

static enum passel_status choose_chunks(const struct exr_file *file, struct exr_chosen *chosen,
                                        const struct media_info *info, struct passel_error *error)
{
    exr_result_t result;
    chosen->tile_width = rect_width(info->data);
    if (chosen->storage == EXR_STORAGE_TILED)
        result = exr_get_tile_sizes(file->context, chosen->part, 0, 0, &chosen->tile_width, &chosen->chunk_rows);
    else
        result = exr_get_scanlines_per_chunk(file->context, chosen->part, &chosen->chunk_rows);
    if (result != EXR_ERR_SUCCESS || chosen->tile_width < 1 || chosen->chunk_rows < 1)
        return error_set(error, PASSEL_BAD_FILE, "the layout of lines or tiles is invalid");
    if (!chosen->through_rgba && !lines_even(chosen))
        return error_set(error, PASSEL_UNSUPPORTED, "sub-sampling that does not divide the %d lines of a chunk",
                         chosen->chunk_rows);
    chosen->row_reach = 1;
    for (int p = 0; p < PLANE_COUNT; p++)
        if (chosen->source[p] >= 0) {
            const int32_t reach = chosen->channels->entries[chosen->source[p]].y_sampling;
            chosen->row_reach = reach > chosen->row_reach ? reach : chosen->row_reach;
        }
    return PASSEL_OK;
}

static const char *compression_name(exr_compression_t compression)
{
    static const char *const names[] = { "none", "rle", "zips", "zip", "piz", "pxr24", "b44", "b44a", "dwaa", "dwab" };
    return compression < sizeof names / sizeof *names ? names[compression] : "unknown";
}

static bool window_of(exr_attr_box2i_t box, struct rect *window)
{
    const struct rect limits = { -RECT_LIMIT, -RECT_LIMIT, RECT_LIMIT, RECT_LIMIT };
    if (box.max.x >= RECT_LIMIT || box.max.y >= RECT_LIMIT)
        return false;
    *window = rect_of(box.min.x, box.min.y, box.max.x + 1, box.max.y + 1);
    return !rect_empty(*window) && rect_holds(limits, *window);
}

static enum passel_status read_windows(const struct exr_file *file, int part, struct media_info *info,
                                       struct passel_error *error)
{
    exr_attr_box2i_t data, display;
    if (exr_get_data_window(file->context, part, &data) != EXR_ERR_SUCCESS ||
        exr_get_display_window(file->context, part, &display) != EXR_ERR_SUCCESS || !window_of(data, &info->data) ||
        !window_of(display, &info->display))
        return error_set(error, PASSEL_BAD_FILE, "a window is empty or too far out");
    return PASSEL_OK;
}

static void describe_samples(const struct exr_chosen *chosen, struct media_info *info)
{
    static const enum sample samples[] = { SAMPLE_UINT, SAMPLE_HALF, SAMPLE_FLOAT };
    info->sample = SAMPLE_HALF;
    info->bits = 16;
    for (int p = 0; p < PLANE_COUNT && !chosen->through_rgba; p++)
        if (chosen->source[p] >= 0) {
            const exr_pixel_type_t type = chosen->channels->entries[chosen->source[p]].pixel_type;
            if (type != EXR_PIXEL_HALF) {
                info->sample = samples[type];
                info->bits = 32;
            }
        }
}

static void describe_pixels(const struct exr_chosen *chosen, struct media_info *info)
{
    const bool alpha = chosen->source[PLANE_A] >= 0;
    const bool colour = chosen->source[PLANE_R] >= 0 || chosen->source[PLANE_G] >= 0 || chosen->source[PLANE_B] >= 0;
    info->planes = (colour ? HAS_RGB : 0u) | (alpha ? HAS_A : 0u);
    info->alpha = alpha ? ALPHA_PREMULTIPLIED : ALPHA_NONE;
    info->compression = compression_name(chosen->compression);
    info->whole = chosen->through_rgba;
    info->chunk_rows = chosen->through_rgba ? rect_height(info->data) : chosen->chunk_rows;
    info->has_encoding = true; /* the format is for scene-linear light */
    info->encoding = (struct encoding){ .curve = ENCODING_LINEAR };
    describe_samples(chosen, info);
}

/* What the file says of itself; an attribute of the wrong type is as if it were not there. */

static enum passel_status read_text(const struct exr_file *file, int part, const char *name, char **text,
                                    struct passel_error *error)
{
    int32_t length = 0;
    const char *from = NULL;
    if (exr_attr_get_string(file->context, part, name, &length, &from) != EXR_ERR_SUCCESS || length <= 0)
        return PASSEL_OK;
    *text = memory_zeros((size_t)length + 1, 1);
    if (*text == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    memcpy(*text, from, (size_t)length);
    return PASSEL_OK;
}

static bool read_primaries(const struct exr_file *file, int part, struct primaries *primaries)
{
    exr_attr_chromaticities_t c;
    if (exr_attr_get_chromaticities(file->context, part, "chromaticities", &c) != EXR_ERR_SUCCESS)
        return false;
    *primaries = (struct primaries){ .red = { (double)c.red_x, (double)c.red_y },
                                     .green = { (double)c.green_x, (double)c.green_y },
                                     .blue = { (double)c.blue_x, (double)c.blue_y },
                                     .white = { (double)c.white_x, (double)c.white_y } };
    double matrix[9];
    return primaries_to_xyz(primaries, matrix);
}

static void read_times(const struct exr_file *file, int part, struct metadata *metadata)
{
    exr_attr_timecode_t code;
    exr_attr_rational_t rate;
    if (exr_attr_get_timecode(file->context, part, "timeCode", &code) == EXR_ERR_SUCCESS) {
        metadata->has_time_code = true;
        metadata->time_code[0] = code.time_and_flags;
        metadata->time_code[1] = code.user_data;
    }
    if (exr_attr_get_rational(file->context, part, "framesPerSecond", &rate) == EXR_ERR_SUCCESS && rate.num > 0 &&
        rate.denom > 0 && rate.denom <= INT32_MAX) {
        metadata->rate_num = rate.num;
        metadata->rate_den = (int32_t)rate.denom;
    }
}

static enum passel_status read_metadata(const struct exr_file *file, int part, struct media_info *info,
                                        struct passel_error *error)
{
    float aspect = 1.0f;
    if (exr_get_pixel_aspect_ratio(file->context, part, &aspect) == EXR_ERR_SUCCESS && aspect > 0.0f &&
        isfinite(aspect))
        info->pixel_aspect = (double)aspect;
    read_times(file, part, &info->metadata);
    info->has_primaries = read_primaries(file, part, &info->primaries);
    info->metadata.has_primaries = info->has_primaries;
    info->metadata.primaries = info->primaries;
    RETURN_IF_ERROR(read_text(file, part, "owner", &info->metadata.owner, error));
    return read_text(file, part, "comments", &info->metadata.comments, error);
}

enum passel_status exr_choose(const struct exr_file *file, const struct media_choice *choice, struct exr_chosen *chosen,
                              struct media_info *info, struct passel_error *error)
{
    *chosen = (struct exr_chosen){ .part = 0 };
    RETURN_IF_ERROR(list_parts(file, &info->parts, error));
    RETURN_IF_ERROR(find_part(info->parts, choice->part, &chosen->part, error));
    if (exr_get_storage(file->context, chosen->part, &chosen->storage) != EXR_ERR_SUCCESS ||
        chosen->storage == EXR_STORAGE_DEEP_SCANLINE || chosen->storage == EXR_STORAGE_DEEP_TILED)
        return error_set(error, PASSEL_UNSUPPORTED, "deep data cannot be read");
    RETURN_IF_ERROR(exr_file_plausible(file, chosen->part, error));
    RETURN_IF_ERROR(read_windows(file, chosen->part, info, error));
    if (exr_get_channels(file->context, chosen->part, &chosen->channels) != EXR_ERR_SUCCESS ||
        exr_get_compression(file->context, chosen->part, &chosen->compression) != EXR_ERR_SUCCESS)
        return error_set(error, PASSEL_BAD_FILE, "the header lacks what it must have");
    RETURN_IF_ERROR(list_channels(chosen->channels, &info->channels, error));
    RETURN_IF_ERROR(choose_channels(chosen, choice->channels, info->channels, error));
    RETURN_IF_ERROR(choose_way(chosen, choice->channels, error));
    RETURN_IF_ERROR(choose_chunks(file, chosen, info, error));
    describe_pixels(chosen, info);
    return read_metadata(file, chosen->part, info, error);
}

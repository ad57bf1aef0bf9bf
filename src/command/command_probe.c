/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel probe: what a file is and what is in it.
 */
#include <math.h>
#include <stdio.h>

#include "base/error.h"
#include "command/command.h"
#include "command/json.h"
#include "media/media.h"

static const struct option options[] = {
    { "--channels", "NAME", false, "a layer of the file, or a single channel" },
    { "--part", "NAME", false, "a part of a file that has several, by name or by number from 0" },
    { "--json", NULL, false, "one JSON object a file, a line each" },
    { NULL, NULL, false, NULL },
};

/* Of one plane, over the whole data window. */
struct statistics {
    double least, most, mean, deviation;
};

static const char *const plane_names[PLANE_COUNT] = { "R", "G", "B", "A" };

/* Two passes in double: mean first, so that the deviation of a bright, even picture is not lost. */
static struct statistics measure(const struct picture *picture, enum plane plane)
{
    struct statistics found = { INFINITY, -INFINITY, 0, 0 };
    const size_t width = (size_t)rect_width(picture->area);
    const double count = (double)width * rect_height(picture->area);
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const float *row = picture_row(picture, plane, y);
        for (size_t x = 0; x < width; x++) {
            found.least = row[x] < found.least ? row[x] : found.least;
            found.most = row[x] > found.most ? row[x] : found.most;
            found.mean += row[x];
        }
    }
    found.mean /= count;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const float *row = picture_row(picture, plane, y);
        for (size_t x = 0; x < width; x++)
            found.deviation += (row[x] - found.mean) * (row[x] - found.mean);
    }
    found.deviation = sqrt(found.deviation / count);
    return found;
}

struct probed {
    const char *path;
    const struct media_info *info;
    struct statistics planes[PLANE_COUNT];
    struct media_faults faults;
};

static const char *alpha_word(enum alpha_form alpha)
{
    static const char *const words[] = { "none", "straight", "premultiplied" };
    return words[alpha];
}

static void print_time_code(const uint32_t *code)
{
    const uint32_t t = code[0];
    (void)printf("%u%u:%u%u:%u%u%c%u%u", t >> 28 & 3, t >> 24 & 15, t >> 20 & 7, t >> 16 & 15, t >> 12 & 7, t >> 8 & 15,
                 (t & 1u << 6) != 0 ? ';' : ':', t >> 4 & 3, t & 15);
}

static void print_names(const char *label, char *const *names)
{
    if (names == NULL || names[0] == NULL || (names[0][0] == '\0' && names[1] == NULL))
        return;
    (void)printf("  %-13s", label);
    for (int i = 0; names[i] != NULL; i++)
        (void)printf("%s%s", i > 0 ? ", " : "", names[i]);
    (void)printf("\n");
}

static void print_sample(const struct media_info *info)
{
    static const char *const words[] = { "whole numbers", "half", "float" };
    (void)printf("  %-13s%d bits, %s", "pixels", info->bits, words[info->sample]);
    if (info->compression != NULL)
        (void)printf(", %s", info->compression);
    (void)printf("\n");
}

static void print_colour(const struct media_info *info)
{
    if (info->has_encoding) {
        (void)printf("  %-13s%s", "encoding", encoding_name(info->encoding.curve));
        if (info->encoding.curve == ENCODING_GAMMA)
            (void)printf(" %g", info->encoding.gamma);
        (void)printf("\n");
    }
    if (info->has_primaries) {
        const char *name = primaries_name(&info->primaries);
        const struct primaries *p = &info->primaries;
        if (name != NULL)
            (void)printf("  %-13s%s\n", "primaries", name);
        else
            (void)printf("  %-13sred %.4f %.4f, green %.4f %.4f, blue %.4f %.4f, white %.4f %.4f\n", "primaries",
                         p->red[0], p->red[1], p->green[0], p->green[1], p->blue[0], p->blue[1], p->white[0],
                         p->white[1]);
    }
    (void)printf("  %-13s%s\n", "alpha", alpha_word(info->alpha));
    if (info->unserved[0] != '\0')
        (void)printf("  %-13s%s\n", "not followed", info->unserved);
}

static void print_metadata(const struct metadata *metadata)
{
    if (metadata->has_time_code) {
        (void)printf("  %-13s", "time code");
        print_time_code(metadata->time_code);
        (void)printf("\n");
    }
    if (metadata->rate_den > 0)
        (void)printf("  %-13s%.5g frames a second\n", "rate", (double)metadata->rate_num / metadata->rate_den);
    if (metadata->owner != NULL)
        (void)printf("  %-13s%s\n", "owner", metadata->owner);
    if (metadata->comments != NULL)
        (void)printf("  %-13s%s\n", "comments", metadata->comments);
}

static void print_text(const struct probed *probed)
{
    const struct media_info *info = probed->info;
    (void)printf("%s\n  %-13s%s\n  %-13s%dx%d\n", probed->path, "format", info->format, "size",
                 (int)rect_width(info->display), (int)rect_height(info->display));
    if (!rect_same(info->data, info->display) || info->display.x0 != 0 || info->display.y0 != 0)
        (void)printf("  %-13sdisplay %d %d to %d %d, data %d %d to %d %d\n", "windows", (int)info->display.x0,
                     (int)info->display.y0, (int)info->display.x1, (int)info->display.y1, (int)info->data.x0,
                     (int)info->data.y0, (int)info->data.x1, (int)info->data.y1);
    if (info->pixel_aspect != 1)
        (void)printf("  %-13s%g\n", "pixel aspect", info->pixel_aspect);
    print_sample(info);
    print_names("parts", info->parts);
    print_names("channels", info->channels);
    print_colour(info);
    if (info->frame_count > 1)
        (void)printf("  %-13s%d\n", "frames", (int)info->frame_count);
    print_metadata(&info->metadata);
    (void)printf("  %-13s%12s %12s %12s %12s\n", "values", "least", "most", "mean", "deviation");
    for (int p = 0; p < PLANE_COUNT; p++) {
        const struct statistics *s = &probed->planes[p];
        if ((info->planes & 1u << p) != 0)
            (void)printf("  %-13s%12.6g %12.6g %12.6g %12.6g\n", plane_names[p], s->least, s->most, s->mean,
                         s->deviation);
    }
    if (probed->faults.nan + probed->faults.infinite > 0)
        (void)printf("  %-13s%llu values are not numbers, %llu are infinite\n", "faults",
                     (unsigned long long)probed->faults.nan, (unsigned long long)probed->faults.infinite);
}

static void json_rect(const char *name, struct rect r)
{
    (void)printf(", \"%s\": [%d, %d, %d, %d]", name, (int)r.x0, (int)r.y0, (int)r.x1, (int)r.y1);
}

static void print_json(const struct probed *probed)
{
    const struct media_info *info = probed->info;
    (void)printf("{\"file\": ");
    json_text(probed->path);
    (void)printf(", \"format\": ");
    json_text(info->format);
    json_rect("display", info->display);
    json_rect("data", info->data);
    (void)printf(", \"pixel_aspect\": ");
    json_number(info->pixel_aspect);
    (void)printf(", \"bits\": %d, \"alpha\": \"%s\"", info->bits, alpha_word(info->alpha));
    if (info->has_encoding)
        (void)printf(", \"encoding\": \"%s\"", encoding_name(info->encoding.curve));
    if (info->metadata.has_time_code) {
        (void)printf(", \"time_code\": \"");
        print_time_code(info->metadata.time_code);
        (void)printf("\"");
    }
    (void)printf(", \"channels\": [");
    for (int i = 0; info->channels != NULL && info->channels[i] != NULL; i++) {
        (void)printf("%s", i > 0 ? ", " : "");
        json_text(info->channels[i]);
    }
    (void)printf("], \"values\": {");
    bool first = true;
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((info->planes & 1u << p) == 0)
            continue;
        (void)printf("%s\"%s\": {\"least\": ", first ? "" : ", ", plane_names[p]);
        first = false;
        json_number(probed->planes[p].least);
        (void)printf(", \"most\": ");
        json_number(probed->planes[p].most);
        (void)printf(", \"mean\": ");
        json_number(probed->planes[p].mean);
        (void)printf(", \"deviation\": ");
        json_number(probed->planes[p].deviation);
        (void)printf("}");
    }
    (void)printf("}, \"nan\": %llu, \"infinite\": %llu}\n", (unsigned long long)probed->faults.nan,
                 (unsigned long long)probed->faults.infinite);
}

static enum passel_status probe(const char *path, const struct media_choice *choice, bool json,
                                struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct picture picture = { 0 };
    struct probed probed = { .path = path };
    enum passel_status status;
    RETURN_IF_ERROR(media_open(path, choice, &reader, error));
    probed.info = media_info(reader);
    GOTO_IF_ERROR(picture_new(&picture, probed.info->data, probed.info->planes, error), out_reader);
    GOTO_IF_ERROR(media_read(reader, 0, &picture, &probed.faults, error), out_reader);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (picture.plane[p] != NULL)
            probed.planes[p] = measure(&picture, (enum plane)p);
    }
    if (json)
        print_json(&probed);
    else
        print_text(&probed);
out_reader:
    picture_release(&picture);
    media_close(reader);
    return status;
}

static enum exit_code run(const struct call *call)
{
    const struct media_choice choice = { .channels = call_value(call, "--channels"),
                                         .part = call_value(call, "--part") };
    enum exit_code code = EXIT_FINE;
    for (int i = 0; i < call->argument_count; i++) {
        struct passel_error error = { 0 };
        const enum passel_status status = probe(call->arguments[i], &choice, call_has(call, "--json"), &error);
        const enum exit_code one = end_with(status, &error);
        code = code == EXIT_FINE ? one : code;
    }
    return code;
}

const struct command command_probe = {
    .name = "probe",
    .arguments = "FILE…",
    .summary = "Says what a file is: size, windows, channels, encoding, time code, statistics.",
    .least_arguments = 1,
    .most_arguments = GIVEN_LIMIT,
    .options = options,
    .run = run,
};

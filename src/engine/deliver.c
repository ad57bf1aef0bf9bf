/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/deliver.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "engine/digest.h"
#include "kinds/pass.h"
#include "kinds/shot.h"
#include "media/sequence.h"
#include "picture/roll_off.h"

/* What the outputs carry over from the lock pass. The texts stay the lock pass's. */
static struct metadata lock_metadata(const struct plan *plan)
{
    const struct shot *shot = &plan->graph->shot;
    struct metadata metadata = { 0 };
    if (plan->lock >= 0)
        metadata = pass_metadata(&plan->nodes[plan->lock].at);
    metadata.rate_num = shot->rate_num;
    metadata.rate_den = shot->rate_den;
    return metadata;
}

static void digest_metadata(struct digest *digest, const struct metadata *metadata)
{
    digest_bytes(digest, &metadata->has_time_code, sizeof metadata->has_time_code);
    if (metadata->has_time_code)
        digest_bytes(digest, metadata->time_code, sizeof metadata->time_code);
    digest_text(digest, metadata->owner != NULL ? metadata->owner : "");
    digest_text(digest, metadata->comments != NULL ? metadata->comments : "");
}

static enum passel_status digest_output(struct delivery *delivery, const struct plan *plan, const int *roots,
                                        struct passel_error *error)
{
    const struct output *output = delivery->output;
    struct digest digest;
    RETURN_IF_ERROR(digest_begin(&digest, error));
    digest_shot(&digest, &plan->graph->shot, plan->graph->scale);
    digest_block(&digest, output->block, plan->frame, true);
    if (output->final_pattern != NULL)
        digest_text(&digest, "preview");
    for (int i = 0; i < output->picture_count; i++) {
        digest_text(&digest, output->pictures[i].name);
        digest_bytes(&digest, &plan->nodes[roots[i]].digest, sizeof plan->nodes[roots[i]].digest);
    }
    const struct metadata metadata = lock_metadata(plan);
    digest_metadata(&digest, &metadata);
    const XXH128_hash_t hash = digest_end(&digest);
    (void)snprintf(delivery->digest, sizeof delivery->digest, "%016llx%016llx", (unsigned long long)hash.high64,
                   (unsigned long long)hash.low64);
    return PASSEL_OK;
}

enum passel_status delivery_plan(struct delivery *delivery, const struct output *output, const struct plan *plan,
                                 const int *roots, struct passel_error *error)
{
    *delivery = (struct delivery){ .output = output };
    delivery->path = pattern_path(output->pattern, plan->frame);
    delivery->planes = memory_zeros((size_t)output->picture_count, sizeof *delivery->planes);
    if (delivery->path == NULL || delivery->planes == NULL) {
        delivery_release(delivery);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    for (int i = 0; i < output->picture_count; i++)
        delivery->planes[i] = plan->nodes[roots[i]].info.planes;
    return digest_output(delivery, plan, roots, error);
}

bool delivery_fresh(const struct delivery *delivery, const struct plan *plan)
{
    struct file_facts facts;
    char *digest = NULL;
    if (file_facts(delivery->path, &facts, NULL) != PASSEL_OK || facts.modified_ns <= plan->newest_ns)
        return false;
    const bool fresh = media_digest(delivery->path, &digest, NULL) == PASSEL_OK && digest != NULL &&
                       strcmp(digest, delivery->digest) == 0;
    memory_free(digest);
    return fresh;
}

static enum passel_status refuse_input(const struct delivery *delivery, const struct plan *plan,
                                       struct passel_error *error)
{
    struct file_facts facts;
    if (file_facts(delivery->path, &facts, NULL) != PASSEL_OK)
        return PASSEL_OK; /* nothing is there */
    for (int i = 0; i < plan->file_count; i++) {
        if (plan->files[i].device == facts.device && plan->files[i].inode == facts.inode)
            return error_set(error, PASSEL_BAD_RECIPE,
                             "%s: this file is one of the recipe's own passes; choose another name for the output",
                             delivery->path);
    }
    return PASSEL_OK;
}

enum passel_status delivery_open(struct delivery *delivery, const struct plan *plan, struct passel_error *error)
{
    const struct output *output = delivery->output;
    RETURN_IF_ERROR(refuse_input(delivery, plan, error));
    char *folder = path_folder(delivery->path);
    struct media_layer *layers = memory_zeros((size_t)output->picture_count, sizeof *layers);
    enum passel_status status = PASSEL_OK;
    if (folder == NULL || layers == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_layers);
    GOTO_IF_ERROR(folder_make(folder, error), out_layers);
    for (int i = 0; i < output->picture_count; i++)
        layers[i] = (struct media_layer){ .name = output->pictures[i].name, .planes = delivery->planes[i] };
    const struct rect window = shot_window(&plan->graph->shot, plan->graph->scale);
    struct media_plan file = { .display = window,
                               .data = window,
                               .pixel_aspect = 1,
                               .layers = layers,
                               .layer_count = output->picture_count,
                               .pixels = output->pixels,
                               .compression = output->compression,
                               .encoding = output->encoding,
                               .primaries = output->primaries,
                               .metadata = lock_metadata(plan),
                               .digest = delivery->digest };
    status = media_create(delivery->path, &file, &delivery->writer, error);
out_layers:
    memory_free(layers);
    memory_free(folder);
    return status;
}

/* Divides colour by alpha; alpha is held inside 0 … 1 and colour without alpha becomes 0. */
static void row_straight(const struct picture *strip, int32_t y, size_t width)
{
    float *restrict a = picture_row(strip, PLANE_A, y);
    for (size_t x = 0; x < width; x++)
        a[x] = a[x] < 0 ? 0 : a[x] > 1 ? 1 : a[x];
    for (int p = 0; p < PLANE_A; p++) {
        if (strip->plane[p] == NULL)
            continue;
        float *restrict c = picture_row(strip, (enum plane)p, y);
        for (size_t x = 0; x < width; x++)
            c[x] = a[x] > 0 ? c[x] / a[x] : 0;
    }
}

static void from_light(const struct output *output, const struct shot *shot, const struct picture *strip)
{
    double m[9];
    const bool colour = (picture_planes(strip) & HAS_RGB) == HAS_RGB;
    const bool matrix = colour && !primaries_same(&shot->primaries, &output->primaries) &&
                        primaries_matrix(&shot->primaries, &output->primaries, m);
    const size_t width = (size_t)rect_width(strip->area);
    for (int32_t y = strip->area.y0; y < strip->area.y1; y++) {
        if (output->png && strip->plane[PLANE_A] != NULL)
            row_straight(strip, y, width);
        if (matrix)
            matrix_apply(m, picture_row(strip, PLANE_R, y), picture_row(strip, PLANE_G, y),
                         picture_row(strip, PLANE_B, y), width);
        for (int p = 0; p < PLANE_A && output->final_pattern != NULL; p++) {
            if (strip->plane[p] != NULL)
                roll_off(picture_row(strip, (enum plane)p, y), width);
        }
        for (int p = 0; p < PLANE_A && output->encoding.curve != ENCODING_LINEAR; p++) {
            if (strip->plane[p] != NULL)
                encoding_apply(output->encoding, picture_row(strip, (enum plane)p, y), width);
        }
    }
}

/* True when the numbers of the file are the light itself. */
static bool as_it_is(const struct output *output, const struct shot *shot, const struct picture *strip)
{
    return output->encoding.curve == ENCODING_LINEAR && primaries_same(&shot->primaries, &output->primaries) &&
           !(output->png && strip->plane[PLANE_A] != NULL);
}

enum passel_status delivery_write(struct delivery *delivery, const struct shot *shot, const struct picture *pictures,
                                  struct scratch *scratch, struct passel_error *error)
{
    const struct output *output = delivery->output;
    if (delivery->view != NULL)
        flash_view_strip(delivery->view, &pictures[0]);
    struct picture *rows = scratch_take(scratch, (size_t)output->picture_count * sizeof *rows);
    if (rows == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < output->picture_count; i++) {
        rows[i] = pictures[i];
        for (int p = 0; p < PLANE_COUNT; p++) {
            if ((delivery->planes[i] & 1u << p) == 0)
                rows[i].plane[p] = NULL;
        }
        if (as_it_is(output, shot, &rows[i]))
            continue;
        struct picture own;
        RETURN_IF_ERROR(scratch_picture(scratch, &own, rows[i].area, delivery->planes[i], error));
        picture_copy(&own, &rows[i]);
        from_light(output, shot, &own);
        rows[i] = own;
    }
    return media_write(delivery->writer, rows, error);
}

enum passel_status delivery_keep(struct delivery *delivery, struct passel_error *error)
{
    struct media_writer *writer = delivery->writer;
    delivery->writer = NULL;
    return media_finish(writer, error);
}

void delivery_release(struct delivery *delivery)
{
    media_discard(delivery->writer);
    memory_free(delivery->path);
    memory_free(delivery->planes);
    flash_view_free(delivery->view);
    *delivery = (struct delivery){ 0 };
}

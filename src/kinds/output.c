/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `output`: which picture goes to which files, and how it is written. The engine reads it through
 * output_read; the block makes no picture of its own.
 */
#include "kinds/output.h"

#include <string.h>

#include "base/arena.h"
#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "kinds/encoding_setting.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "media/sequence.h"

static const struct choice pixel_choices[] = {
    { "half", "16-bit floating point (EXR)" },
    { "float", "32-bit floating point (EXR)" },
    { "8", "8 bits, dithered (PNG)" },
    { "16", "16 bits (PNG)" },
    { NULL, NULL },
};

static const struct choice compression_choices[] = {
    { "none", "not compressed" },
    { "rle", "run lengths, lossless" },
    { "zips", "deflate, a line at a time, lossless" },
    { "zip", "deflate, 16 lines at a time, lossless" },
    { "piz", "wavelet, lossless; good for grain" },
    { "pxr24", "lossless for half, 24 bits of float" },
    { "b44", "lossy, fixed rate" },
    { "b44a", "lossy, flat parts smaller" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "PICTURE", .type = VALUE_PICTURE }, { .label = NULL } },
    .tags = (const struct tag_spec[]){ { .word = "as",
                                         .help = "a label, to pick this output with --output",
                                         .values = (const struct value_spec[]){ { .label = "LABEL", .type = VALUE_NAME },
                                                                                { .label = NULL } } },
                                       { .word = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "file",
      .help = "where the frames go; #### is the frame number; the ending says the format: exr or png",
      .values = (const struct value_spec[]){ { .label = "PATH", .type = VALUE_PATH }, { .label = NULL } },
      .required = true },
    { .word = "pixels",
      .help = "how a pixel is stored: half (EXR) and 8 (PNG) when nothing is said",
      .values = (const struct value_spec[]){ { .label = "PIXELS", .type = VALUE_CHOICE, .choices = pixel_choices },
                                             { .label = NULL } } },
    { .word = "compression",
      .help = "how an EXR is compressed",
      .values = (const struct value_spec[]){ { .label = "COMPRESSION",
                                               .type = VALUE_CHOICE,
                                               .choices = compression_choices },
                                             { .label = NULL } } },
    { .word = "encoding",
      .help = "how light is written as numbers: linear (EXR) and srgb (PNG) when nothing is said",
      .values = (const struct value_spec[]){ ENCODING_VALUES, { .label = NULL } } },
    { .word = "primaries",
      .help = "the primaries of the written file: those of the shot (EXR) and rec709 (PNG) when nothing is said",
      .values = (const struct value_spec[]){ { .label = "PRIMARIES", .type = VALUE_CHOICE, .choices = primaries_choices },
                                             { .label = NULL } } },
    { .word = "layers",
      .help = "further pictures in the same EXR, each under its own name: moon.R, moon.G …",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
      .repeats = true },
    { .help = NULL },
};

static enum passel_status read_form(const struct recipe *recipe, struct output *output, struct passel_error *error)
{
    const struct block *block = output->block;
    const struct value *file = setting_value(block_setting(block, "file"), 0);
    const struct value *pixels = setting_value(block_setting(block, "pixels"), 0);
    const struct value *compression = setting_value(block_setting(block, "compression"), 0);
    char extension[16];
    path_extension(file->text, extension);
    output->png = strcmp(extension, "png") == 0;
    if (!output->png && strcmp(extension, "exr") != 0)
        return recipe_error(recipe, file->where, PASSEL_BAD_RECIPE, error,
                            "expected a file that ends in .exr or .png; the ending says which format is written");
    const char *word = value_choice(pixels);
    const bool integer = word != NULL && (strcmp(word, "8") == 0 || strcmp(word, "16") == 0);
    if (word != NULL && integer != output->png)
        return recipe_error(recipe, pixels->where, PASSEL_BAD_RECIPE, error,
                            output->png ? "a PNG holds 8 or 16 bits; for half or float write an EXR"
                                        : "an EXR holds half or float pixels; for 8 or 16 bits write a PNG");
    if (output->png && compression != NULL)
        return recipe_error(recipe, compression->where, PASSEL_BAD_RECIPE, error,
                            "a PNG has one compression of its own; remove this line or write an EXR");
    static const enum pixels forms[] = { PIXELS_HALF, PIXELS_FLOAT, PIXELS_8, PIXELS_16 };
    output->pixels = word != NULL ? forms[pixels->choice] : output->png ? PIXELS_8 : PIXELS_HALF;
    output->compression = value_choice(compression);
    return PASSEL_OK;
}

static enum passel_status read_layers(const struct recipe *recipe, struct output *output, struct arena *arena,
                                      struct passel_error *error)
{
    const struct block *block = output->block;
    output->pictures = arena_array(arena, (size_t)block->setting_count + 1, sizeof *output->pictures);
    if (output->pictures == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    output->pictures[output->picture_count++] = (struct output_picture){ .value = setting_value(block->head, 0), .name = "" };
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (strcmp(setting->spec->word, "layers") != 0)
            continue;
        if (output->png)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "a PNG holds one picture; layers need an EXR");
        const struct value *value = setting_value(setting, 0);
        output->pictures[output->picture_count++] = (struct output_picture){ .value = value, .name = value->text };
    }
    return PASSEL_OK;
}

enum passel_status output_read(const struct recipe *recipe, const struct block *block, const struct shot *shot,
                               struct arena *arena, struct output *output, struct passel_error *error)
{
    *output = (struct output){ .block = block, .label = block->name };
    RETURN_IF_ERROR(read_form(recipe, output, error));
    RETURN_IF_ERROR(read_layers(recipe, output, arena, error));
    const struct value *file = setting_value(block_setting(block, "file"), 0);
    output->pattern = path_join(recipe->folder, file->text);
    if (output->pattern == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    bool numbered;
    enum passel_status status = pattern_numbered(output->pattern, &numbered, NULL);
    if (status != PASSEL_OK || (!numbered && shot->frame_count > 1)) {
        output_release(output);
        return recipe_error(recipe, file->where, PASSEL_BAD_RECIPE, error,
                            status != PASSEL_OK
                                ? "the file name holds more than one frame number"
                                : "%d frames would be written over each other; put #### where the frame number belongs",
                            shot->frame_count);
    }
    output->encoding = encoding_setting(block_setting(block, "encoding"),
                                        (struct encoding){ .curve = output->png ? ENCODING_SRGB : ENCODING_LINEAR });
    const char *primaries = value_choice(setting_value(block_setting(block, "primaries"), 0));
    if (primaries == NULL)
        output->primaries = output->png ? *primaries_named("rec709") : shot->primaries;
    else
        output->primaries = *primaries_named(primaries);
    return PASSEL_OK;
}

enum passel_status output_preview(struct output *output, bool keep_ending, struct passel_error *error)
{
    struct text path = { 0 };
    char *folder = path_folder(output->pattern);
    const char *slash = strrchr(output->pattern, '/');
    const char *name = slash != NULL ? slash + 1 : output->pattern;
    const size_t ending = strlen(name) - (keep_ending ? 0 : strlen(".exr")); /* both endings are as long */
    text_print(&path, "%s/quick/%.*s.png", folder != NULL ? folder : "", (int)ending, name);
    const bool failed = folder == NULL || path.failed;
    memory_free(folder);
    if (failed) {
        text_release(&path);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    output->final_pattern = output->pattern;
    output->pattern = path.bytes;
    output->png = true;
    output->pixels = PIXELS_8;
    output->compression = NULL;
    output->encoding = (struct encoding){ .curve = ENCODING_SRGB };
    output->primaries = *primaries_named("rec709");
    output->picture_count = 1;
    return PASSEL_OK;
}

void output_release(struct output *output)
{
    memory_free(output->pattern);
    memory_free(output->final_pattern);
    output->pattern = output->final_pattern = NULL;
}

const struct kind kind_output = {
    .schema = { .name = "output",
                .summary = "Files on disk: one finished picture, a file for every frame.",
                .notes = "An output is whole or absent: a frame appears under its name when all of it is on the disk. "
                         "`render` makes only the frames that are missing, out of date or not whole.",
                .example = "output final as frames\n"
                           "  file         renders/storm.####.exr\n"
                           "  pixels       half\n"
                           "  compression  zip\n",
                .form = HEAD_OUTPUT,
                .makes = MAKES_NOTHING,
                .head = &head,
                .settings = settings },
};

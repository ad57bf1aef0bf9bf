/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Finds the format of a file, by its first bytes when it is read and by its extension when it is written, and checks
 * what holds for all formats. The formats themselves are listed in the two tables below.
 */
#include "media/media.h"

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "media/format.h"
#include "picture/half.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct media_format *const formats[] = {
    &format_exr, &format_png, &format_tiff, &format_jpeg, &format_yuv,
};

static const struct media_output *const outputs[] = {
    &output_exr,
    &output_png,
};

enum { FORMAT_COUNT = sizeof formats / sizeof *formats, OUTPUT_COUNT = sizeof outputs / sizeof *outputs };

/* Names */

void names_free(char **names)
{
    for (char **name = names; name != NULL && *name != NULL; name++)
        memory_free(*name);
    memory_free(names);
}

static char *text_copy(const char *text)
{
    const size_t size = strlen(text) + 1;
    char *copy = memory_new(size);
    return copy != NULL ? memcpy(copy, text, size) : NULL;
}

enum passel_status names_add(char ***names, const char *name, struct passel_error *error)
{
    size_t count = 0;
    while (*names != NULL && (*names)[count] != NULL)
        count++;
    char *copy = text_copy(name);
    char **longer = copy != NULL ? memory_grow(*names, count, count + 2, sizeof **names) : NULL;
    if (longer == NULL) {
        memory_free(copy);
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    }
    longer[count] = copy;
    longer[count + 1] = NULL;
    *names = longer;
    return PASSEL_OK;
}

/* Values that are no numbers */

static float repaired(float value, struct media_faults *faults)
{
    if (value != value) {
        faults->nan++;
        return 0.0f;
    }
    if (value - value == 0.0f)
        return value;
    faults->infinite++;
    return value > 0.0f ? HALF_LARGEST : -HALF_LARGEST;
}

void faults_repair(float *samples, size_t count, struct media_faults *faults)
{
    for (size_t i = 0; i < count; i++)
        samples[i] = repaired(samples[i], faults);
}

/* Names inside of damaged files can hold anything; on a terminal they shall not. */
static void make_visible(char *text)
{
    const bool valid = utf8_valid(text, strlen(text));
    for (; *text != '\0'; text++) {
        const unsigned char byte = (unsigned char)*text;
        if (byte < ' ' || byte == 0x7f || (byte >= 0x80 && !valid))
            *text = '?';
    }
}

/* Messages name the file once, whoever wrote them. */
static enum passel_status name_file(struct passel_error *error, enum passel_status status, const char *path)
{
    if (status == PASSEL_OK || error == NULL)
        return status;
    if (strstr(error->text, path) == NULL) {
        make_visible(error->text);
        error_prefix(error, "%s", path);
    }
    return status;
}

/* Sources */

static enum passel_status source_facts(struct media_source *source, struct passel_error *error)
{
    struct stat facts;
    if (fstat(source->descriptor, &facts) != 0)
        return error_set(error, PASSEL_NO_FILE, "cannot be examined");
    if (S_ISDIR(facts.st_mode))
        return error_set(error, PASSEL_NO_FILE, "is a folder");
    source->seekable = S_ISREG(facts.st_mode);
    source->size = source->seekable ? (uint64_t)facts.st_size : 0;
    return PASSEL_OK;
}

static enum passel_status source_head(struct media_source *source, struct passel_error *error)
{
    while (source->head_size < PROBE_BYTES) {
        unsigned char *to = source->head + source->head_size;
        const size_t wanted = PROBE_BYTES - source->head_size;
        const ssize_t got = source->seekable ? pread(source->descriptor, to, wanted, (off_t)source->head_size)
                                             : read(source->descriptor, to, wanted);
        if (got == 0)
            break;
        if (got < 0 && errno != EINTR)
            return error_set(error, PASSEL_BAD_DISK, "cannot be read");
        if (got > 0)
            source->head_size += (size_t)got;
    }
    return PASSEL_OK;
}

/* A regular file may have been opened as standard input and moved on; readers start at its beginning all the same. */
static enum passel_status source_open(const char *path, struct media_source *source, struct passel_error *error)
{
    *source = (struct media_source){ .path = path };
    source->descriptor = strcmp(path, "-") == 0 ? dup(STDIN_FILENO) : open(path, O_RDONLY | O_CLOEXEC);
    if (source->descriptor < 0)
        return error_set(error, PASSEL_NO_FILE, errno == ENOENT ? "there is no such file" : "cannot be opened");
    enum passel_status status = source_facts(source, error);
    if (status == PASSEL_OK)
        status = source_head(source, error);
    if (status == PASSEL_OK && source->seekable && lseek(source->descriptor, 0, SEEK_SET) != 0)
        status = error_set(error, PASSEL_BAD_DISK, "cannot be read");
    if (status != PASSEL_OK)
        close(source->descriptor);
    return status;
}

static void source_close(struct media_source *source)
{
    if (source->descriptor >= 0)
        close(source->descriptor);
}

static enum passel_status find_format(const struct media_source *source, const struct media_format **format,
                                      struct passel_error *error)
{
    for (int i = 0; i < FORMAT_COUNT; i++)
        if (formats[i]->probe(source->head, source->head_size)) {
            *format = formats[i];
            return PASSEL_OK;
        }
    if (source->head_size == 0)
        return error_set(error, PASSEL_BAD_FILE, "is empty");
    struct text known = { NULL, 0, 0, false };
    for (int i = 0; i < FORMAT_COUNT; i++)
        text_print(&known, "%s%s", i > 0 ? ", " : "", formats[i]->name);
    const enum passel_status status = error_set(error, PASSEL_UNSUPPORTED, "is no picture that can be read (known: %s)",
                                                known.failed ? "" : known.bytes);
    text_release(&known);
    return status;
}

/* Readers */

static void reader_free(struct media_reader *reader)
{
    metadata_release(&reader->info.metadata);
    names_free(reader->info.channels);
    names_free(reader->info.parts);
    memory_free(reader->path);
    memory_free(reader);
}

static enum passel_status reader_new(struct media_source *source, const struct media_choice *choice,
                                     struct media_reader **made, struct passel_error *error)
{
    static const struct media_choice plain = { NULL, NULL };
    const struct media_format *format;
    RETURN_IF_ERROR(find_format(source, &format, error));
    struct media_reader *reader = memory_zeros(1, sizeof *reader);
    if (reader == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    reader->format = format;
    reader->info.format = format->name;
    reader->info.pixel_aspect = 1.0;
    reader->info.frame_count = 1;
    reader->path = text_copy(source->path);
    enum passel_status status = reader->path != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "memory is out");
    if (status == PASSEL_OK)
        status = format->open(reader, source, choice != NULL ? choice : &plain, error);
    if (status == PASSEL_OK)
        *made = reader;
    else
        reader_free(reader);
    return status;
}

enum passel_status media_open(const char *path, const struct media_choice *choice, struct media_reader **reader,
                              struct passel_error *error)
{
    struct media_source source;
    *reader = NULL;
    enum passel_status status = source_open(path, &source, error);
    if (status == PASSEL_OK) {
        status = reader_new(&source, choice, reader, error);
        source_close(&source);
    }
    return name_file(error, status, path);
}

const struct media_info *media_info(const struct media_reader *reader)
{
    return &reader->info;
}

static enum passel_status check_read(const struct media_info *info, int32_t frame, struct rect area,
                                     struct passel_error *error)
{
    if (frame < 0 || (info->frame_count >= 0 && frame >= info->frame_count))
        return error_set(error, PASSEL_BAD_USE, "has no frame %d (it has %d)", frame, info->frame_count);
    if (!rect_holds(info->data, area))
        return error_set(error, PASSEL_BAD_USE, "pixels are asked for that it does not have");
    if (info->whole && !rect_same(info->data, area))
        return error_set(error, PASSEL_BAD_USE, "can only be read whole");
    return PASSEL_OK;
}

enum passel_status media_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                              struct media_faults *faults, struct passel_error *error)
{
    if (rect_empty(out->area))
        return PASSEL_OK;
    enum passel_status status = check_read(&reader->info, frame, out->area, error);
    if (status == PASSEL_OK)
        status = reader->format->read(reader, frame, out, faults, error);
    return name_file(error, status, reader->path);
}

void media_close(struct media_reader *reader)
{
    if (reader == NULL)
        return;
    reader->format->close(reader);
    reader_free(reader);
}

enum passel_status media_digest(const char *path, char **digest, struct passel_error *error)
{
    struct media_source source;
    const struct media_format *format;
    *digest = NULL;
    if (source_open(path, &source, NULL) != PASSEL_OK)
        return PASSEL_OK;
    enum passel_status status = PASSEL_OK;
    if (find_format(&source, &format, NULL) == PASSEL_OK && format->digest != NULL)
        status = format->digest(&source, digest, error);
    source_close(&source);
    return name_file(error, status, path);
}

/* Writers */

static const struct media_output *output_for(const char *path)
{
    char extension[16];
    path_extension(path, extension);
    for (int i = 0; i < OUTPUT_COUNT; i++)
        if (strcmp(outputs[i]->extension, extension) == 0)
            return outputs[i];
    return NULL;
}

static bool window_fits(struct rect window)
{
    const struct rect limits = { -RECT_LIMIT, -RECT_LIMIT, RECT_LIMIT, RECT_LIMIT };
    return !rect_empty(window) && rect_holds(limits, window);
}

static enum passel_status check_plan(const struct media_plan *plan, struct passel_error *error)
{
    if (!window_fits(plan->display) || !window_fits(plan->data))
        return error_set(error, PASSEL_BAD_USE, "a picture without pixels, or one too large, cannot be written");
    if (plan->layer_count < 1)
        return error_set(error, PASSEL_BAD_USE, "a picture without layers cannot be written");
    return PASSEL_OK;
}

static enum passel_status writer_new(const char *path, const struct media_plan *plan, struct media_writer **made,
                                     struct passel_error *error)
{
    const struct media_output *output = output_for(path);
    if (output == NULL)
        return error_set(error, PASSEL_UNSUPPORTED, "files are written as .exr or .png");
    RETURN_IF_ERROR(check_plan(plan, error));
    struct media_writer *writer = memory_zeros(1, sizeof *writer);
    char *copy = text_copy(path);
    enum passel_status status = PASSEL_NO_MEMORY;
    if (writer != NULL && copy != NULL) {
        *writer = (struct media_writer){ .output = output, .path = copy, .data = plan->data };
        status = output->create(writer, plan, error);
    } else {
        error_set(error, status, "memory is out");
    }
    if (status == PASSEL_OK) {
        *made = writer;
        return PASSEL_OK;
    }
    memory_free(copy);
    memory_free(writer);
    return status;
}

enum passel_status media_create(const char *path, const struct media_plan *plan, struct media_writer **writer,
                                struct passel_error *error)
{
    *writer = NULL;
    return name_file(error, writer_new(path, plan, writer, error), path);
}

int media_writer_rows(const struct media_writer *writer)
{
    return writer->rows;
}

static bool strip_fits(const struct media_writer *writer, struct rect area)
{
    const struct rect data = writer->data;
    return area.x0 == data.x0 && area.x1 == data.x1 && rect_holds(data, area) &&
           (area.y0 - data.y0) % writer->rows == 0 && ((area.y1 - data.y0) % writer->rows == 0 || area.y1 == data.y1);
}

enum passel_status media_write(struct media_writer *writer, const struct picture *rows, struct passel_error *error)
{
    if (rect_empty(rows->area))
        return PASSEL_OK;
    enum passel_status status = PASSEL_OK;
    if (!strip_fits(writer, rows->area))
        status = error_set(error, PASSEL_BAD_USE, "rows %d to %d are no strip of the file", rows->area.y0,
                           rows->area.y1 - 1);
    if (status == PASSEL_OK)
        status = writer->output->write(writer, rows, error);
    return name_file(error, status, writer->path);
}

static void writer_free(struct media_writer *writer)
{
    memory_free(writer->path);
    memory_free(writer);
}

enum passel_status media_finish(struct media_writer *writer, struct passel_error *error)
{
    const enum passel_status status = name_file(error, writer->output->finish(writer, error), writer->path);
    writer_free(writer);
    return status;
}

void media_discard(struct media_writer *writer)
{
    if (writer == NULL)
        return;
    writer->output->discard(writer);
    writer_free(writer);
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbered files: splitting a pattern round its frame number, and finding on the disk which frames there are. Only
 * names that pattern_path would make count, so that two names never stand for one frame.
 */
#include "media/sequence.h"

#include <limits.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"

/* The frame number inside a pattern: pattern[at … at + length), padded to `width` digits. length 0: there is none. */
struct number_place {
    size_t at, length;
    size_t width;
};

#define WIDTH_LIMIT 32

/* How long the number mark is that begins at `text` ("####", "%d", "%04d"), and its width; 0 when none begins here. */
static size_t mark_length(const char *text, size_t *width)
{
    if (text[0] == '#') {
        const size_t run = strspn(text, "#");
        *width = run;
        return run >= 2 ? run : 0;
    }
    if (text[0] != '%')
        return 0;
    if (text[1] == 'd') {
        *width = 1;
        return 2;
    }
    if (text[1] != '0')
        return 0;
    const size_t digits = strspn(text + 1, "0123456789");
    if (digits > 4 || text[1 + digits] != 'd')
        return 0;
    size_t value = 0;
    for (size_t i = 0; i < digits; i++)
        value = value * 10 + (size_t)(text[1 + i] - '0');
    *width = value;
    return value > 0 ? 2 + digits : 0;
}

static const char *last_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* Finds the first number mark of the last name; *count tells how many there are. */
static struct number_place number_find(const char *pattern, int *count)
{
    struct number_place place = { 0, 0, 0 };
    const char *text = last_name(pattern);
    *count = 0;
    while (*text) {
        size_t width = 0;
        const size_t length = mark_length(text, &width);
        if (length > 0 && (*count)++ == 0)
            place = (struct number_place){ (size_t)(text - pattern), length, width };
        const size_t single = strspn(text, "#"); /* a lone # must not join a run that it is not part of */
        text += length > 0 ? length : single > 0 ? single : 1;
    }
    return place;
}

enum passel_status pattern_numbered(const char *pattern, bool *numbered, struct passel_error *error)
{
    int count = 0;
    const struct number_place place = number_find(pattern, &count);
    *numbered = count > 0;
    if (count > 1)
        return error_set(error, PASSEL_BAD_USE, "%s: more than one frame number; one run of # or one %%04d is expected",
                         pattern);
    if (place.width > WIDTH_LIMIT)
        return error_set(error, PASSEL_BAD_USE, "%s: a frame number has at most %d digits", pattern, WIDTH_LIMIT);
    return PASSEL_OK;
}

char *pattern_path(const char *pattern, int32_t frame)
{
    int count = 0;
    const struct number_place place = number_find(pattern, &count);
    struct text path = { NULL, 0, 0, false };
    if (count == 0) {
        text_add(&path, pattern, strlen(pattern));
    } else {
        const int width = place.width > WIDTH_LIMIT ? WIDTH_LIMIT : (int)place.width;
        text_add(&path, pattern, place.at);
        text_print(&path, "%s%0*lld", frame < 0 ? "-" : "", width, frame < 0 ? -(long long)frame : (long long)frame);
        text_add(&path, pattern + place.at + place.length, strlen(pattern + place.at + place.length));
    }
    if (path.failed) {
        text_release(&path);
        return NULL;
    }
    return path.bytes;
}

/* Reads the whole of text[0 … length) as a frame number written the way pattern_path writes it. */
static bool frame_parse(const char *text, size_t length, size_t width, int32_t *frame)
{
    const bool negative = length > 0 && text[0] == '-';
    const char *digits = negative ? text + 1 : text;
    const size_t count = negative ? length - 1 : length;
    if (count < width || (count > width && digits[0] == '0'))
        return false;
    int64_t value = 0;
    for (size_t i = 0; i < count; i++) {
        if (digits[i] < '0' || digits[i] > '9')
            return false;
        value = value * 10 + (digits[i] - '0');
        if (value > (int64_t)INT32_MAX + 1)
            return false;
    }
    if (negative)
        value = -value;
    if (value > INT32_MAX || (negative && value == 0))
        return false;
    *frame = (int32_t)value;
    return true;
}

/* Does `name` fit the last name of the pattern, and which frame is it? */
static bool name_frame(const char *name, const char *pattern, struct number_place place, int32_t *frame)
{
    const char *before = last_name(pattern);
    const size_t before_length = place.at - (size_t)(before - pattern);
    const char *after = pattern + place.at + place.length;
    const size_t after_length = strlen(after);
    const size_t length = strlen(name);
    if (length <= before_length + after_length || memcmp(name, before, before_length) != 0 ||
        memcmp(name + length - after_length, after, after_length) != 0)
        return false;
    return frame_parse(name + before_length, length - before_length - after_length, place.width, frame);
}

/* Heap sort: no allocation, no worst case, and no order of equal elements to care about. */
static void frames_sift(int32_t *frames, size_t root, size_t end)
{
    for (size_t child = 2 * root + 1; child < end; child = 2 * root + 1) {
        if (child + 1 < end && frames[child] < frames[child + 1])
            child++;
        if (frames[root] >= frames[child])
            return;
        const int32_t held = frames[root];
        frames[root] = frames[child];
        frames[child] = held;
        root = child;
    }
}

static void frames_sort(int32_t *frames, size_t count)
{
    for (size_t root = count / 2; root > 0; root--)
        frames_sift(frames, root - 1, count);
    for (size_t end = count; end > 1; end--) {
        const int32_t held = frames[0];
        frames[0] = frames[end - 1];
        frames[end - 1] = held;
        frames_sift(frames, 0, end - 1);
    }
}

/* The names of the pattern's folder; a folder that does not exist has none. */
static enum passel_status folder_names(const char *pattern, char ***names, size_t *count, struct passel_error *error)
{
    *names = NULL;
    *count = 0;
    char *folder = path_folder(pattern);
    if (!folder)
        return error_set(error, PASSEL_NO_MEMORY, "%s: no memory for the name of its folder", pattern);
    struct file_facts facts;
    enum passel_status status = PASSEL_OK;
    if (file_facts(folder, &facts, NULL) != PASSEL_NO_FILE)
        status = folder_list(folder, names, count, error);
    memory_free(folder);
    return status;
}

static enum passel_status find_frames(struct sequence *sequence, struct number_place place, struct passel_error *error)
{
    char **names = NULL;
    size_t name_count = 0;
    RETURN_IF_ERROR(folder_names(sequence->pattern, &names, &name_count, error));
    enum passel_status status = PASSEL_OK;
    if (name_count > INT_MAX) {
        status = error_set(error, PASSEL_UNSUPPORTED, "%s: too many files in the folder", sequence->pattern);
        goto out_names;
    }
    sequence->frames = memory_zeros(name_count, sizeof *sequence->frames);
    if (!sequence->frames) {
        status =
            error_set(error, PASSEL_NO_MEMORY, "%s: no memory for %zu frame numbers", sequence->pattern, name_count);
        goto out_names;
    }
    for (size_t i = 0; i < name_count; i++)
        if (name_frame(names[i], sequence->pattern, place, &sequence->frames[sequence->count]))
            sequence->count++;
    frames_sort(sequence->frames, (size_t)sequence->count);
out_names:
    folder_free(names, name_count);
    return status;
}

static enum passel_status find_single(struct sequence *sequence, struct passel_error *error)
{
    struct file_facts facts;
    if (strcmp(sequence->pattern, "-") != 0) {
        RETURN_IF_ERROR(file_facts(sequence->pattern, &facts, error));
        if (facts.is_folder)
            return error_set(error, PASSEL_NO_FILE, "%s: is a folder, not a file", sequence->pattern);
    }
    sequence->count = 1;
    return PASSEL_OK;
}

enum passel_status sequence_find(const char *pattern, struct sequence *sequence, struct passel_error *error)
{
    memset(sequence, 0, sizeof *sequence);
    RETURN_IF_ERROR(pattern_numbered(pattern, &sequence->numbered, error));
    struct text copy = { NULL, 0, 0, false };
    text_add(&copy, pattern, strlen(pattern));
    if (copy.failed) {
        text_release(&copy);
        return error_set(error, PASSEL_NO_MEMORY, "%s: no memory for the pattern", pattern);
    }
    sequence->pattern = copy.bytes;
    int count = 0;
    const struct number_place place = number_find(pattern, &count);
    const enum passel_status status =
        sequence->numbered ? find_frames(sequence, place, error) : find_single(sequence, error);
    if (status != PASSEL_OK)
        sequence_release(sequence);
    return status;
}

int sequence_below(const struct sequence *sequence, int32_t frame)
{
    int low = 0, high = sequence->count;
    while (low < high) {
        const int middle = low + (high - low) / 2;
        if (sequence->frames[middle] < frame)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

bool sequence_has(const struct sequence *sequence, int32_t frame)
{
    if (!sequence->numbered)
        return sequence->count > 0;
    const int at = sequence_below(sequence, frame);
    return at < sequence->count && sequence->frames[at] == frame;
}

static void gap_print(struct text *out, bool *any, int64_t first, int64_t last)
{
    text_print(out, "%s%lld", *any ? ", " : "", (long long)first);
    if (last > first)
        text_print(out, "-%lld", (long long)last);
    *any = true;
}

void sequence_gaps(const struct sequence *sequence, int32_t first, int32_t last, struct text *out)
{
    if (!sequence->numbered)
        return;
    bool any = false;
    int64_t expected = first;
    for (int at = sequence_below(sequence, first); at < sequence->count && sequence->frames[at] <= last; at++) {
        if (sequence->frames[at] > expected)
            gap_print(out, &any, expected, (int64_t)sequence->frames[at] - 1);
        expected = (int64_t)sequence->frames[at] + 1;
    }
    if (expected <= last)
        gap_print(out, &any, expected, last);
}

void sequence_release(struct sequence *sequence)
{
    memory_free(sequence->pattern);
    memory_free(sequence->frames);
    memset(sequence, 0, sizeof *sequence);
}

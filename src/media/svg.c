/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Walks an SVG file with expat, keeping for every open element its transform, its fill rule and whether its paths
 * count.
 */
#include "media/svg.h"

#include <expat.h>
#include <limits.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "media/svg_parts.h"

#define FILE_LIMIT ((size_t)64 << 20)
#define DEPTH_LIMIT 256
#define IDS_NAMED 12 /* in a message */

struct element {
    struct svg_matrix matrix;
    bool even_odd;
    bool drawn;  /* not within a definition, which is drawn only where it is used */
    bool wanted; /* the one with the id, or within it */
};

struct reader {
    XML_Parser parser;
    const char *path, *id;
    struct svg_outline *outline;
    struct svg_drawn drawn;
    struct element stack[DEPTH_LIMIT];
    int depth;
    bool seen;       /* the id */
    char other[32];  /* the element with the id when it is neither path nor group */
    struct text ids; /* of paths and groups, for a message */
    int id_count;
    enum passel_status status;
    struct passel_error *error;
};

static void refuse(struct reader *reader, enum passel_status status, const char *what, const char *detail)
{
    if (reader->status == PASSEL_OK)
        reader->status = error_set(reader->error, status, "%s:%lu: %s%s", reader->path,
                                   (unsigned long)XML_GetCurrentLineNumber(reader->parser), what, detail);
    (void)XML_StopParser(reader->parser, XML_FALSE);
}

static const char *attribute(const char **attributes, const char *name)
{
    for (; attributes[0] != NULL; attributes += 2) {
        if (strcmp(attributes[0], name) == 0)
            return attributes[1];
    }
    return NULL;
}

/* An element's name without the prefix of its name space. */
static const char *plain_name(const char *name)
{
    const char *colon = strrchr(name, ':');
    return colon != NULL ? colon + 1 : name;
}

/* ---- the page ---------------------------------------------------------------------------------------------------- */

/* A length in pixels; false for other units, which a page without viewBox cannot be read by. */
static bool pixels(const char *text, double *length)
{
    return text != NULL && svg_number(&text, length) && (*text == '\0' || strcmp(text, "px") == 0) && *length > 0;
}

static void read_page(struct svg_outline *outline, const char **attributes)
{
    const char *box = attribute(attributes, "viewBox");
    double *page = outline->page;
    if (box != NULL) {
        int count = 0;
        while (count < 4 && svg_number(&box, &page[count]))
            count++;
        outline->has_page = count == 4 && page[2] > 0 && page[3] > 0;
    } else {
        outline->has_page =
            pixels(attribute(attributes, "width"), &page[2]) && pixels(attribute(attributes, "height"), &page[3]);
        page[0] = page[1] = 0;
    }
}

/* ---- elements ---------------------------------------------------------------------------------------------------- */

static bool is_definition(const char *name)
{
    static const char *const names[] = { "defs", "clipPath", "mask", "symbol", "pattern", "marker", NULL };
    for (int k = 0; names[k] != NULL; k++) {
        if (strcmp(name, names[k]) == 0)
            return true;
    }
    return false;
}

/* The rule of an element: its own attribute or style, or what it inherits. */
static bool even_odd_of(const char **attributes, bool inherited)
{
    const char *rule = attribute(attributes, "fill-rule"), *style = attribute(attributes, "style");
    const char *at = style != NULL ? strstr(style, "fill-rule") : NULL;
    if (at != NULL) {
        at += strlen("fill-rule");
        at += strspn(at, " \t\n\r:");
        return strncmp(at, "evenodd", 7) == 0;
    }
    return rule != NULL ? strcmp(rule, "evenodd") == 0 : inherited;
}

static void read_path(struct reader *reader, const struct element *element, const char *data)
{
    const int first = reader->drawn.contours;
    const char *wrong = data != NULL ? svg_path(data, &element->matrix, &reader->drawn) : NULL;
    char near[24];
    if (wrong != NULL) {
        (void)strncpy(near, wrong, sizeof near - 1);
        near[sizeof near - 1] = '\0';
        refuse(reader, PASSEL_BAD_FILE, "this is no path data: ", near);
    } else if (reader->drawn.failed) {
        refuse(reader, PASSEL_NO_MEMORY, "out of memory", "");
    } else if (reader->drawn.large) {
        refuse(reader, PASSEL_UNSUPPORTED, "the outline has more than 65536 parts", "");
    } else if (element->even_odd) {
        svg_even_odd(&reader->drawn, first);
    }
}

/* True for what can be asked for by its id. */
static bool note_id(struct reader *reader, const char *name, const char *id)
{
    const bool serves = strcmp(name, "path") == 0 || strcmp(name, "g") == 0 || strcmp(name, "svg") == 0;
    if (id == NULL)
        return false;
    const bool asked = reader->id != NULL && strcmp(id, reader->id) == 0;
    if (asked && !serves) {
        (void)strncpy(reader->other, name, sizeof reader->other - 1);
    } else if (serves && reader->id_count < IDS_NAMED) {
        text_print(&reader->ids, "%s%s", reader->id_count++ > 0 ? ", " : "", id);
    }
    return asked && serves;
}

static void begin_element(void *data, const char *full_name, const char **attributes)
{
    struct reader *reader = data;
    const char *name = plain_name(full_name);
    if (reader->depth == DEPTH_LIMIT) {
        refuse(reader, PASSEL_UNSUPPORTED, "elements lie more than 256 deep", "");
        return;
    }
    if (reader->depth == 0) {
        if (strcmp(name, "svg") != 0) {
            refuse(reader, PASSEL_BAD_FILE, "this is no SVG: it begins with ", name);
            return;
        }
        read_page(reader->outline, attributes);
    }
    const struct element root = { .matrix = { { 1, 0, 0, 1, 0, 0 } }, .drawn = true };
    const struct element *outer = reader->depth > 0 ? &reader->stack[reader->depth - 1] : &root;
    struct element *element = &reader->stack[reader->depth++];
    *element = *outer;
    const char *transform = attribute(attributes, "transform");
    if (transform != NULL && !svg_transform(transform, outer->matrix, &element->matrix)) {
        refuse(reader, PASSEL_BAD_FILE, "this is no transform: ", transform);
        return;
    }
    element->even_odd = even_odd_of(attributes, outer->even_odd);
    element->drawn = outer->drawn && !is_definition(name);
    if (note_id(reader, name, attribute(attributes, "id"))) {
        element->wanted = true;
        reader->seen = true;
    }
    if (strcmp(name, "path") == 0 && (reader->id != NULL ? element->wanted : element->drawn))
        read_path(reader, element, attribute(attributes, "d"));
}

static void end_element(void *data, const char *name)
{
    struct reader *reader = data;
    (void)name;
    reader->depth--;
}

/* ---- the file ---------------------------------------------------------------------------------------------------- */

static enum passel_status walk(struct reader *reader, const char *bytes, size_t size)
{
    XML_SetUserData(reader->parser, reader);
    XML_SetElementHandler(reader->parser, begin_element, end_element);
    if (XML_Parse(reader->parser, bytes, (int)size, XML_TRUE) == XML_STATUS_OK || reader->status != PASSEL_OK)
        return reader->status;
    const enum XML_Error code = XML_GetErrorCode(reader->parser);
    if (code == XML_ERROR_NO_MEMORY)
        return error_set(reader->error, PASSEL_NO_MEMORY, "out of memory");
    refuse(reader, PASSEL_BAD_FILE, "the file is no well-formed XML: ", XML_ErrorString(code));
    return reader->status;
}

static enum passel_status check_found(const struct reader *reader)
{
    if (reader->id != NULL && !reader->seen && reader->other[0] != '\0')
        return error_set(reader->error, PASSEL_UNSUPPORTED,
                         "%s: '%s' is a <%s>; only paths are read: make a path of it in the drawing program",
                         reader->path, reader->id, reader->other);
    if (reader->id != NULL && !reader->seen)
        return error_set(reader->error, PASSEL_BAD_FILE, "%s: no path or group has the id '%s'%s%s%s", reader->path,
                         reader->id, reader->id_count > 0 ? "; there are: " : "",
                         reader->id_count > 0 ? reader->ids.bytes : "", reader->id_count == IDS_NAMED ? ", ..." : "");
    if (reader->drawn.contours == 0)
        return error_set(reader->error, PASSEL_BAD_FILE,
                         "%s: there is no path in it; rectangles, circles and texts have to be made paths in the "
                         "drawing program",
                         reader->path);
    return PASSEL_OK;
}

static enum passel_status keep(const struct svg_drawn *drawn, struct arena *arena, struct svg_outline *outline,
                               struct passel_error *error)
{
    double *numbers = arena_array(arena, 6 * (size_t)drawn->count, sizeof *numbers);
    int *segments = arena_array(arena, (size_t)drawn->contours, sizeof *segments);
    if (numbers == NULL || segments == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(numbers, drawn->numbers, 6 * (size_t)drawn->count * sizeof *numbers);
    memcpy(segments, drawn->segments, (size_t)drawn->contours * sizeof *segments);
    outline->numbers = numbers;
    outline->segments = segments;
    outline->segment_count = drawn->count;
    outline->contour_count = drawn->contours;
    return PASSEL_OK;
}

enum passel_status svg_read(const char *path, const char *id, struct arena *arena, struct svg_outline *outline,
                            struct passel_error *error)
{
    char *bytes;
    size_t size;
    *outline = (struct svg_outline){ .has_page = false };
    RETURN_IF_ERROR(file_read(path, FILE_LIMIT, &bytes, &size, error));
    enum passel_status status = PASSEL_NO_MEMORY;
    struct reader *reader = memory_zeros(1, sizeof *reader);
    XML_Parser parser = XML_ParserCreate(NULL);
    if (reader == NULL || parser == NULL) {
        (void)error_set(error, PASSEL_NO_MEMORY, "out of memory");
        goto out_reader;
    }
    reader->parser = parser;
    reader->path = path;
    reader->id = id;
    reader->outline = outline;
    reader->error = error;
    GOTO_IF_ERROR(walk(reader, bytes, size), out_drawn);
    if (reader->ids.failed)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_drawn);
    GOTO_IF_ERROR(check_found(reader), out_drawn);
    status = keep(&reader->drawn, arena, outline, error);
out_drawn:
    svg_drawn_release(&reader->drawn);
    text_release(&reader->ids);
out_reader:
    if (parser != NULL)
        XML_ParserFree(parser);
    memory_free(reader);
    memory_free(bytes);
    return status;
}

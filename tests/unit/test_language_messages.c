/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a wrong recipe is told. Each language_messages/NAME.passel is parsed, with the changes of NAME.set (one a line)
 * when there is one; the messages and what stands in the error must be those of NAME.expected. PASSEL_ACCEPT=1 writes
 * NAME.expected anew.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/memory.h"
#include "language/recipe.h"
#include "language_schemas.h"

#define FOLDER PASSEL_SOURCE_DIR "/tests/unit/language_messages/"

static const char *const names[] = {
    "characters", "crlf",   "curves",    "cycles",       "empty",        "fields",  "fine",  "heads",
    "indent",     "keys",   "long_line", "long_word",    "many",         "missing", "names", "nul",
    "pictures",   "set",    "settings",  "sizes",        "stray",        "tabs",    "twice", "units",
    "utf16",      "values", "version",   "version_bare", "version_form", "wide",
};

static char *read_beside(const char *name, const char *ending, size_t *size)
{
    char path[512], *bytes = NULL;
    snprintf(path, sizeof path, FOLDER "%s.%s", name, ending);
    return file_read(path, RECIPE_LIMIT, &bytes, size, NULL) == PASSEL_OK ? bytes : NULL;
}

/* Cuts the text into lines; returns how many. */
static int split_changes(char *text, struct recipe_change changes[32])
{
    int count = 0;
    for (char *line = strtok(text, "\n"); line != NULL && count < 32; line = strtok(NULL, "\n"))
        changes[count++].text = line;
    return count;
}

/* All that a caller sees of parsing the file. */
static void parse(const char *name, struct text *seen)
{
    size_t size, set_size;
    char path[128];
    char *text = read_beside(name, "passel", &size), *set = read_beside(name, "set", &set_size);
    struct recipe_change changes[32];
    struct recipe *recipe;
    struct passel_error error = { PASSEL_OK, "" };
    assert_non_null(text);
    snprintf(path, sizeof path, "%s.passel", name);
    const int count = set != NULL ? split_changes(set, changes) : 0;
    const enum passel_status status =
        recipe_parse(path, text, size, language_schemas, changes, count, &recipe, seen, &error);
    assert_int_equal(status != PASSEL_OK, recipe == NULL);
    assert_int_equal(status != PASSEL_OK, seen->length > 0);
    if (status != PASSEL_OK)
        assert_int_equal(error.status, status);
    text_print(seen, "-- %s\n%s%s", passel_status_text(status), status != PASSEL_OK ? error.text : "",
               status != PASSEL_OK ? "\n" : "");
    recipe_free(recipe);
    memory_free(text);
    memory_free(set);
}

static void accept(const char *name, const struct text *seen)
{
    struct new_file file;
    char path[512];
    snprintf(path, sizeof path, FOLDER "%s.expected", name);
    assert_int_equal(new_file_open(&file, path, NULL), PASSEL_OK);
    assert_int_equal(new_file_write(&file, seen->bytes, seen->length, NULL), PASSEL_OK);
    assert_int_equal(new_file_keep(&file, NULL), PASSEL_OK);
}

static void messages_are_as_expected(void **state)
{
    (void)state;
    const char *accepting = getenv("PASSEL_ACCEPT");
    int wrong = 0;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        struct text seen = { NULL, 0, 0, false };
        size_t size;
        parse(names[i], &seen);
        if (accepting != NULL && strcmp(accepting, "1") == 0)
            accept(names[i], &seen);
        char *expected = read_beside(names[i], "expected", &size);
        if (expected == NULL || size != seen.length || memcmp(expected, seen.bytes, size) != 0) {
            print_error("%s is told something else than expected; PASSEL_ACCEPT=1 accepts:\n%s\n", names[i],
                        seen.bytes);
            wrong++;
        }
        memory_free(expected);
        text_release(&seen);
    }
    assert_int_equal(wrong, 0);
}

/* A file that nobody lists would be tested by nobody. */
static void every_file_is_listed(void **state)
{
    (void)state;
    char **files;
    size_t count;
    assert_int_equal(folder_list(FOLDER, &files, &count, NULL), PASSEL_OK);
    for (size_t i = 0; i < count; i++) {
        bool listed = false;
        for (size_t k = 0; k < sizeof names / sizeof *names; k++)
            listed =
                listed || (strncmp(files[i], names[k], strlen(names[k])) == 0 && files[i][strlen(names[k])] == '.');
        if (!listed)
            fail_msg("%s is not in the list of names", files[i]);
    }
    folder_free(files, count);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(messages_are_as_expected),
        cmocka_unit_test(every_file_is_listed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

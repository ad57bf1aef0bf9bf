/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Command lines and help, from the option tables.
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "command/command.h"

static const struct option *option_named(const struct command *command, const char *word, size_t length)
{
    for (const struct option *option = command->options; option->name != NULL; option++) {
        if (strlen(option->name) == length && strncmp(option->name, word, length) == 0)
            return option;
    }
    return NULL;
}

static bool unknown_option(const struct command *command, const char *word, size_t length)
{
    const char *names[GIVEN_LIMIT] = { NULL };
    char name[64] = "";
    for (int i = 0; command->options[i].name != NULL && i < GIVEN_LIMIT - 1; i++)
        names[i] = command->options[i].name;
    (void)snprintf(name, sizeof name, "%.*s", (int)(length < 60 ? length : 60), word);
    const char *nearest = text_nearest(name, names);
    (void)fprintf(stderr, "passel %s: there is no option %s", command->name, name);
    if (nearest != NULL)
        (void)fprintf(stderr, "; did you mean %s?", nearest);
    (void)fprintf(stderr, "\n`passel %s --help` lists them.\n", command->name);
    return false;
}

static bool add_option(struct call *call, const struct option *option, const char *value)
{
    if (call->given_count == GIVEN_LIMIT) {
        (void)fprintf(stderr, "passel %s: more than %d options\n", call->command->name, GIVEN_LIMIT);
        return false;
    }
    if (!option->repeats && call_has(call, option->name)) {
        (void)fprintf(stderr, "passel %s: %s is given twice\n", call->command->name, option->name);
        return false;
    }
    call->given[call->given_count] = option;
    call->values[call->given_count++] = value;
    return true;
}

/* Reads one option; *used is how many words it took. */
static bool read_option(struct call *call, char **words, int left, int *used)
{
    const char *equals = strchr(words[0], '=');
    const size_t length = equals != NULL ? (size_t)(equals - words[0]) : strlen(words[0]);
    const struct option *option = option_named(call->command, words[0], length);
    *used = 1;
    if (option == NULL)
        return unknown_option(call->command, words[0], length);
    if (option->value == NULL && equals != NULL) {
        (void)fprintf(stderr, "passel %s: %s takes no value\n", call->command->name, option->name);
        return false;
    }
    if (option->value == NULL)
        return add_option(call, option, "");
    if (equals != NULL)
        return add_option(call, option, equals + 1);
    if (left < 2) {
        (void)fprintf(stderr, "passel %s: %s needs a value: %s %s\n", call->command->name, option->name, option->name,
                      option->value);
        return false;
    }
    *used = 2;
    return add_option(call, option, words[1]);
}

bool call_read(struct call *call, const struct command *command, int count, char **words)
{
    bool only_arguments = false;
    memset(call, 0, sizeof *call);
    call->command = command;
    for (int i = 0; i < count;) {
        int used = 1;
        if (!only_arguments && strcmp(words[i], "--") == 0) {
            only_arguments = true;
        } else if (!only_arguments && words[i][0] == '-' && words[i][1] != '\0') {
            if (!read_option(call, &words[i], count - i, &used))
                return false;
        } else if (call->argument_count < GIVEN_LIMIT - 1) {
            call->arguments[call->argument_count++] = words[i];
        }
        i += used;
    }
    if (call->argument_count < command->least_arguments || call->argument_count > command->most_arguments) {
        (void)fprintf(stderr, "passel %s: expected %s", command->name, command->arguments);
        for (int i = 0; i < call->argument_count; i++)
            (void)fprintf(stderr, "%s%s", i == 0 ? ", not " : " ", call->arguments[i]);
        (void)fprintf(stderr, "\n`passel %s --help` tells more.\n", command->name);
        return false;
    }
    return true;
}

const char *call_value(const struct call *call, const char *option)
{
    for (int i = call->given_count - 1; i >= 0; i--) {
        if (strcmp(call->given[i]->name, option) == 0)
            return call->values[i];
    }
    return NULL;
}

bool call_has(const struct call *call, const char *option)
{
    return call_value(call, option) != NULL;
}

int call_values(const struct call *call, const char *option, const char **values)
{
    int count = 0;
    for (int i = 0; i < call->given_count; i++) {
        if (strcmp(call->given[i]->name, option) == 0)
            values[count++] = call->values[i];
    }
    return count;
}

bool call_number(const struct call *call, const char *option, long least, long most, long otherwise, long *number)
{
    const char *text = call_value(call, option);
    char *end = NULL;
    *number = otherwise;
    if (text == NULL)
        return true;
    errno = 0;
    *number = strtol(text, &end, 10);
    if (errno == 0 && end != text && *end == '\0' && *number >= least && *number <= most)
        return true;
    (void)fprintf(stderr, "passel %s: %s takes a whole number from %ld to %ld, not \"%s\"\n", call->command->name,
                  option, least, most, text);
    return false;
}

void help_command(const struct command *command)
{
    (void)printf("passel %s %s\n\n%s\n", command->name, command->arguments, command->summary);
    if (command->notes != NULL)
        (void)printf("\n%s", command->notes);
    (void)printf("\nOptions\n");
    for (const struct option *option = command->options; option->name != NULL; option++) {
        char left[64];
        (void)snprintf(left, sizeof left, "%s%s%s", option->name, option->value != NULL ? " " : "",
                       option->value != NULL ? option->value : "");
        (void)printf("  %-24s %s\n", left, option->help);
    }
    (void)printf("  %-24s %s\n", "--help", "this text");
}

/* How many characters a text shows. */
static int letters(const char *text)
{
    int count = 0;
    for (; *text != '\0'; text++)
        count += ((unsigned char)*text & 0xC0) != 0x80;
    return count;
}

void help_program(void)
{
    (void)printf("passel: stack filmed passes of a miniature into one picture\n\nCommands\n");
    for (int i = 0; command_table[i] != NULL; i++) {
        const struct command *command = command_table[i];
        (void)printf("  %-8s %s%*s %s\n", command->name, command->arguments, 24 - letters(command->arguments), "",
                     command->summary);
    }
    (void)printf("\n`passel COMMAND --help` tells more; `passel --version` says which version this is.\n"
                 "\nExit codes\n"
                 "  0    all is well\n"
                 "  1    some frames were made, some failed\n"
                 "  2    the command line is wrong\n"
                 "  3    the recipe is wrong\n"
                 "  4    a file is missing, damaged or of a kind that is not served\n"
                 "  5    the pictures do not allow the result\n"
                 "  6    memory is out, or the disk is full or fails\n"
                 "  130  interrupted\n");
}

enum exit_code exit_code_of(enum passel_status status)
{
    static const enum exit_code codes[PASSEL_STATUS_COUNT] = {
        [PASSEL_OK] = EXIT_FINE,           [PASSEL_NO_MEMORY] = EXIT_MACHINE, [PASSEL_NO_FILE] = EXIT_FILES,
        [PASSEL_BAD_DISK] = EXIT_MACHINE,  [PASSEL_BAD_FILE] = EXIT_FILES,    [PASSEL_UNSUPPORTED] = EXIT_FILES,
        [PASSEL_BAD_RECIPE] = EXIT_RECIPE, [PASSEL_BAD_USE] = EXIT_USE,       [PASSEL_BAD_PICTURE] = EXIT_PICTURES,
        [PASSEL_STOPPED] = EXIT_STOPPED,   [PASSEL_PARTLY] = EXIT_PARTLY,
    };
    return codes[status];
}

enum exit_code end_with(enum passel_status status, const struct passel_error *error)
{
    if (status != PASSEL_OK)
        (void)fprintf(stderr, "%s\n", error->text[0] != '\0' ? error->text : passel_status_text(status));
    return exit_code_of(status);
}

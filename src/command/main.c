/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The program `passel`: finds the word, reads the options, hands over.
 */
#include <passel/passel.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "command/command.h"

const struct command *const command_table[] = {
    &command_render, &command_check, &command_probe, &command_explain, &command_chart, &command_tidy,
    &command_draft,  &command_fit,   &command_plan,  &command_survey,  NULL,
};

static const struct command *command_named(const char *name)
{
    for (int i = 0; command_table[i] != NULL; i++) {
        if (strcmp(command_table[i]->name, name) == 0)
            return command_table[i];
    }
    return NULL;
}

static enum exit_code unknown_command(const char *name)
{
    const char *names[32] = { NULL };
    for (int i = 0; command_table[i] != NULL; i++)
        names[i] = command_table[i]->name;
    const char *nearest = text_nearest(name, names);
    (void)fprintf(stderr, "passel: there is no command \"%s\"", name);
    if (nearest != NULL)
        (void)fprintf(stderr, "; did you mean \"%s\"?", nearest);
    (void)fprintf(stderr, "\n`passel --help` lists them.\n");
    return EXIT_USE;
}

/* Output that could not be written is a failure too. */
static int leave(enum exit_code code)
{
    const bool written = fflush(stdout) == 0 && !ferror(stdout);
    return written || code != EXIT_FINE ? (int)code : (int)EXIT_MACHINE;
}

int main(int count, char **words)
{
    if (count < 2) {
        help_program();
        return leave(EXIT_USE);
    }
    const char *word = words[1];
    if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0) {
        help_program();
        return leave(EXIT_FINE);
    }
    if (strcmp(word, "--version") == 0) {
        (void)printf("passel %s\n", passel_version());
        return leave(EXIT_FINE);
    }
    const struct command *command = command_named(word);
    if (command == NULL)
        return leave(unknown_command(word));
    for (int i = 2; i < count && strcmp(words[i], "--") != 0; i++) {
        if (strcmp(words[i], "--help") == 0 || strcmp(words[i], "-h") == 0) {
            help_command(command);
            return leave(EXIT_FINE);
        }
    }
    struct call call;
    if (!call_read(&call, command, count - 2, words + 2))
        return leave(EXIT_USE);
    return leave(command->run(&call));
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A word of the program: its options, its help and what it does. To add one: write src/command/command_WORD.c with a
 * `const struct command command_WORD`, list it in command_table (main.c) and in CMakeLists.txt, and add its help to
 * the expected outputs of tests/program.
 */
#ifndef COMMAND_COMMAND_H
#define COMMAND_COMMAND_H

#include <passel/error.h>
#include <stdbool.h>

/* How the program ends. */
enum exit_code {
    EXIT_FINE = 0,
    EXIT_PARTLY = 1,   /* some frames were made, some failed */
    EXIT_USE = 2,      /* the command line is wrong */
    EXIT_RECIPE = 3,   /* the recipe is wrong */
    EXIT_FILES = 4,    /* a file is missing, damaged or of a kind that is not served */
    EXIT_PICTURES = 5, /* the pictures do not allow the result */
    EXIT_MACHINE = 6,  /* memory is out, or the disk is full or fails */
    EXIT_STOPPED = 130 /* interrupted */
};

struct option {
    const char *name;  /* "--frames" */
    const char *value; /* how help names its value; NULL for a switch */
    bool repeats;
    const char *help;
};

#define GIVEN_LIMIT 256

/* A command line that has been read. */
struct call {
    const struct command *command;
    const char *arguments[GIVEN_LIMIT]; /* what is not an option, ended by NULL */
    int argument_count;
    const struct option *given[GIVEN_LIMIT];
    const char *values[GIVEN_LIMIT]; /* "" for a switch */
    int given_count;
};

struct command {
    const char *name;
    const char *arguments; /* "RECIPE", "FILE…" */
    const char *summary;
    const char *notes; /* further help, lines ended by \n; or NULL */
    int least_arguments, most_arguments;
    const struct option *options; /* ended by a NULL name */
    enum exit_code (*run)(const struct call *call);
};

extern const struct command *const command_table[]; /* ended by NULL */
extern const struct command command_chart;
extern const struct command command_check;
extern const struct command command_draft;
extern const struct command command_explain;
extern const struct command command_fit;
extern const struct command command_plan;
extern const struct command command_probe;
extern const struct command command_render;
extern const struct command command_survey;
extern const struct command command_tidy;

/* Reads the words behind the command's name; says what is wrong on stderr. */
bool call_read(struct call *call, const struct command *command, int count, char **words);
const char *call_value(const struct call *call, const char *option); /* the last one given, or NULL */
bool call_has(const struct call *call, const char *option);
/* All values of an option that repeats, into `values` (GIVEN_LIMIT long); returns how many. */
int call_values(const struct call *call, const char *option, const char **values);
/* A whole number ≥ least, or `otherwise` when the option is not given. False (and said) when it is none. */
bool call_number(const struct call *call, const char *option, long least, long most, long otherwise, long *number);

void help_command(const struct command *command);
void help_program(void);

/* Says an error on stderr and turns its status into an exit code. */
enum exit_code end_with(enum passel_status status, const struct passel_error *error);
enum exit_code exit_code_of(enum passel_status status);

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel explain: what a kind of block is for and which settings it knows, from its descriptor; with --markdown the
 * page docs/operations.md.
 */
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "base/text.h"
#include "command/command.h"
#include "kinds/kind.h"

static const struct option options[] = {
    { "--markdown", NULL, false, "print docs/operations.md" },
    { NULL, NULL, false, NULL },
};

#define LINE_WIDTH 100

static const char *unit_word(enum unit unit)
{
    static const char *const words[UNIT_COUNT] = {
        [UNIT_NONE] = "",      [UNIT_STOPS] = " stops",   [UNIT_PX] = " px",       [UNIT_PERCENT] = "%",
        [UNIT_FRACTION] = "",  [UNIT_FRAMES] = " frames", [UNIT_DEGREES] = " deg", [UNIT_KELVIN] = " K",
        [UNIT_SECONDS] = " s", [UNIT_NITS] = " nits",
    };
    return words[unit];
}

static void print_values(struct text *out, const struct value_spec *values)
{
    for (; values != NULL && values->label != NULL; values++)
        text_print(out, values->optional ? " [%s%s]" : " %s%s", values->label,
                   values->type == VALUE_NUMBER ? unit_word(values->unit) : "");
}

static void print_operators(struct text *out, const struct choice *operators)
{
    if (operators == NULL)
        return;
    text_print(out, " [");
    for (int i = 0; operators[i].word != NULL; i++)
        text_print(out, "%s%s", i > 0 ? "/" : "", operators[i].word);
    text_print(out, "]");
}

/* `layer NAME [over/add/…] [matte NAME] [opacity N]` */
static void print_form(struct text *out, const char *word, const struct setting_spec *spec)
{
    text_print(out, "%s", word);
    print_values(out, spec->values);
    print_operators(out, spec->operators);
    for (const struct tag_spec *tag = spec->tags; tag != NULL && tag->word != NULL; tag++) {
        text_print(out, " [%s", tag->word);
        print_values(out, tag->values);
        text_print(out, tag->repeats ? "]…" : "]");
    }
}

static void print_head(struct text *out, const struct schema *schema)
{
    static const struct setting_spec none = { .help = "" };
    const struct setting_spec *head = schema->head != NULL ? schema->head : &none;
    char word[64];
    (void)snprintf(word, sizeof word, "%s%s", schema->form == HEAD_NAMED ? "NAME = " : "", schema->name);
    if (schema->form == HEAD_SHOT)
        (void)snprintf(word, sizeof word, "%s NAME", schema->name);
    print_form(out, word, head);
}

static void print_limits(struct text *out, const struct value_spec *values, const char *indent)
{
    const struct value_spec *first = values;
    for (; values != NULL && values->label != NULL; values++) {
        const bool said = values > first && values->choices == values[-1].choices;
        if (values->type == VALUE_CHOICE) {
            for (const struct choice *choice = values->choices; !said && choice->word != NULL; choice++)
                text_print(out, "%s%s: %s\n", indent, choice->word, choice->help);
        } else if (values->limited) {
            const double share = values->unit == UNIT_PERCENT ? 100 : 1;
            text_print(out, "%s%s: %.10g to %.10g%s\n", indent, values->label, values->least * share, values->most * share,
                       unit_word(values->unit));
        }
        if (values->may_change)
            text_print(out, "%s%s may change over time\n", indent, values->label);
    }
}

static void print_tags(struct text *out, const struct tag_spec *tag, const char *indent, const char *deeper)
{
    for (; tag != NULL && tag->word != NULL; tag++) {
        text_print(out, "%s%s: %s\n", indent, tag->word, tag->help);
        print_limits(out, tag->values, deeper);
    }
}

static void print_setting(struct text *out, const struct setting_spec *spec, bool markdown)
{
    const char *indent = markdown ? "  - " : "        ";
    struct text form = { 0 };
    print_form(&form, spec->word != NULL ? spec->word : "", spec);
    const char *shown = form.bytes != NULL ? form.bytes + (spec->word == NULL) : ""; /* no word: no space before it */
    text_print(out, markdown ? "- `%s`: %s" : "  %s\n      %s", shown, spec->help);
    text_release(&form);
    text_print(out, "%s%s", spec->required ? " (required)" : "", spec->repeats ? " (may repeat; order counts)" : "");
    if (spec->standard != NULL)
        text_print(out, " (when not given: %s)", spec->standard);
    text_print(out, "\n");
    print_limits(out, spec->values, indent);
    for (const struct choice *op = spec->operators; op != NULL && op->word != NULL; op++)
        text_print(out, "%s%s: %s\n", indent, op->word, op->help);
    print_tags(out, spec->tags, indent, markdown ? "    - " : "          ");
}

static void print_example(struct text *out, const char *example, bool markdown)
{
    if (example == NULL)
        return;
    if (markdown) {
        text_print(out, "\n```\n%s```\n", example);
        return;
    }
    text_print(out, "\nExample\n");
    while (*example != '\0') {
        const size_t length = strcspn(example, "\n");
        text_print(out, "  %.*s\n", (int)length, example);
        example += length + (example[length] != '\0');
    }
}

static void print_kind(struct text *out, const struct schema *schema, bool markdown)
{
    text_print(out, markdown ? "## %s\n\n%s\n" : "%s: %s\n", schema->name, schema->summary);
    text_print(out, markdown ? "\n`" : "\n  ");
    print_head(out, schema);
    text_print(out, markdown ? "`\n" : "\n");
    if (schema->head != NULL) {
        text_print(out, markdown ? "\n" : "");
        print_limits(out, schema->head->values, markdown ? "- " : "      ");
        print_tags(out, schema->head->tags, markdown ? "- " : "      ", markdown ? "  - " : "        ");
    }
    if (schema->notes != NULL)
        text_print(out, "\n%s\n", schema->notes);
    if (schema->settings != NULL && schema->settings->help != NULL)
        text_print(out, markdown ? "\nSettings:\n\n" : "\nSettings\n");
    for (const struct setting_spec *spec = schema->settings; spec != NULL && spec->help != NULL; spec++)
        print_setting(out, spec, markdown);
    if (schema->pictures != NULL && schema->pictures->name != NULL)
        text_print(out, markdown ? "\nFurther pictures:\n\n" : "\nFurther pictures\n");
    for (const struct further_picture *more = schema->pictures; more != NULL && more->name != NULL; more++)
        text_print(out, markdown ? "- `NAME.%s`: %s\n" : "  NAME.%s  %s\n", more->name, more->help);
    print_example(out, schema->example, markdown);
}

#define CHANGING                                                                                                       \
    "A number that may change over time takes a curve's name, or keys in its place: [1001 0, 1010 1 smooth]."

static void print_manual(struct text *out)
{
    text_print(out,
               "# Kinds of blocks\n\nThis page is made by `passel explain --markdown` from the descriptors of the "
               "kinds; it is never edited by hand. [format.md](format.md) tells how a recipe is written.\n\n" CHANGING
               "\n\n"
               "| kind | what it is for |\n|---|---|\n");
    for (int i = 0; kind_table[i] != NULL; i++)
        text_print(out, "| %s | %s |\n", kind_table[i]->schema.name, kind_table[i]->schema.summary);
    for (int i = 0; kind_table[i] != NULL; i++) {
        text_print(out, "\n");
        print_kind(out, &kind_table[i]->schema, true);
    }
}

static void print_list(struct text *out)
{
    for (int i = 0; kind_table[i] != NULL; i++)
        text_print(out, "%-16s %s\n", kind_table[i]->schema.name, kind_table[i]->schema.summary);
    text_print(out, "\n`passel explain KIND` tells more.\n");
}

/* All kinds of this name: "key" stands for each of its variants. */
static bool print_named(struct text *out, const struct call *call)
{
    char name[64] = "";
    bool found = false;
    (void)snprintf(name, sizeof name, "%s%s%s", call->arguments[0], call->argument_count > 1 ? " " : "",
                   call->argument_count > 1 ? call->arguments[1] : "");
    const size_t length = strlen(name);
    for (int i = 0; kind_table[i] != NULL; i++) {
        const char *kind = kind_table[i]->schema.name;
        if (strncmp(kind, name, length) != 0 || (kind[length] != '\0' && kind[length] != ' '))
            continue;
        text_print(out, found ? "\n\n" : "");
        print_kind(out, &kind_table[i]->schema, false);
        found = true;
    }
    if (found && out->bytes != NULL && strstr(out->bytes, "may change over time") != NULL)
        text_print(out, "\n" CHANGING "\n");
    return found;
}

/* Where a line of at most LINE_WIDTH characters ends that begins at `text`: at a space, if there is one. */
static size_t line_end(const char *text, size_t length, int room)
{
    size_t best = 0, used;
    for (size_t i = 0; i < length; i += used, room--) {
        (void)utf8_next(text + i, length - i, &used);
        if (text[i] == ' ' && i > 0 && text[i - 1] != ' ')
            best = i;
        if (room == 0 && best > 0)
            return best;
    }
    return length;
}

/* Prints to a terminal: long lines go on below, indented a little more. */
static void print_folded(const char *text)
{
    while (*text != '\0') {
        size_t length = strcspn(text, "\n");
        const size_t indent = strspn(text, " ");
        const char *next = text + length + (text[length] != '\0');
        const char *line = text + indent;
        int lead = (int)indent;
        for (length -= indent; length > 0 || line == text + indent;) {
            const size_t end = line_end(line, length, LINE_WIDTH - lead);
            (void)printf("%*s%.*s\n", lead, "", (int)end, line);
            if (end == length)
                break;
            line += end + 1;
            length -= end + 1;
            lead = indent > 0 ? (int)indent + 2 : 0;
        }
        text = next;
    }
}

static enum exit_code unknown_kind(const char *name)
{
    const char **names = memory_zeros(GIVEN_LIMIT, sizeof *names);
    for (int i = 0; names != NULL && kind_table[i] != NULL; i++)
        names[i] = kind_table[i]->schema.name;
    const char *nearest = names != NULL ? text_nearest(name, names) : NULL;
    (void)fprintf(stderr, "passel explain: there is no kind \"%s\"", name);
    if (nearest != NULL)
        (void)fprintf(stderr, "; did you mean \"%s\"?", nearest);
    (void)fprintf(stderr, "\n`passel explain` lists them.\n");
    memory_free(names);
    return EXIT_USE;
}

static enum exit_code run(const struct call *call)
{
    struct text out = { 0 };
    enum exit_code code = EXIT_FINE;
    if (call_has(call, "--markdown"))
        print_manual(&out);
    else if (call->argument_count == 0)
        print_list(&out);
    else if (!print_named(&out, call))
        code = unknown_kind(call->arguments[0]);
    if (out.failed)
        code = EXIT_MACHINE;
    else if (out.length > 0 && call_has(call, "--markdown"))
        (void)fwrite(out.bytes, 1, out.length, stdout);
    else if (out.length > 0)
        print_folded(out.bytes);
    text_release(&out);
    return code;
}

const struct command command_explain = {
    .name = "explain",
    .arguments = "[KIND]",
    .summary = "Tells what a kind of block is for and which settings it knows.",
    .least_arguments = 0,
    .most_arguments = 2,
    .options = options,
    .run = run,
};

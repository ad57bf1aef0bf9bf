/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel plan: sums for before the shoot.
 */
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "command/command.h"
#include "command/plan_topic.h"
#include "survey/units.h"

static const struct option options[] = {
    { "--rate", "N", false, "frames a second of the shot (24)" },
    { "--shutter", "DEGREES", false, "shutter angle (180)" },
    { "--speed", "SPEED", false, "speed of the full-size thing: 36mph, 58km/h, 16m/s, 53ft/s" },
    { "--stop", "N", false, "f-number" },
    { "--lens", "LENGTH", false, "focal length: 35mm" },
    { "--distance", "LENGTH", false, "from the lens: 1.2m, 120cm, 4ft" },
    { "--focus", "LENGTH", false, "where the lens is focused" },
    { "--sensor", "LENGTH", false, "width of the sensor (24.9mm)" },
    { "--size", "WxH", false, "pixels of the picture (1920x1080)" },
    { "--blur", "LENGTH", false, "the disc on the sensor that still counts as sharp (a thousandth of its width)" },
    { "--scale", "N", false, "scale of the miniature, 16 for 1:16" },
    { "--width", "LENGTH", false, "width of the background or screen" },
    { "--height", "LENGTH", false, "its height" },
    { "--pitch", "LENGTH", false, "from one pixel of the display to the next: 2.6mm" },
    { "--display", "HZ", false, "refresh rate of the display" },
    { "--strobe", "HZ", false, "flashes a second of a strobe" },
    { "--mains", "HZ", false, "mains frequency, 50 or 60 (both)" },
    { NULL, NULL, false, NULL },
};

const struct plan_topic plan_topics[] = {
    { "scale", "N", 1, 1, " --rate --shutter --speed --stop --distance ", " ",
      "camera rate, light, speeds and f-number for a miniature of scale 1:N", plan_scale },
    { "focus", "", 0, 0, " --lens --stop --distance --sensor --blur --scale ", " --lens --stop --distance ",
      "what is sharp", plan_focus },
    { "ranks", "N N…", 2, 16, " --distance --lens --sensor --blur ", " --distance ",
      "forced perspective: the first rank, 1:N, stands at --distance; where do the others?", plan_ranks },
    { "background", "", 0, 0, " --lens --distance --sensor --size --width --height ", " --lens --distance --width ",
      "does a painting or display fill the frame, and how much must `extend` add?", plan_background },
    { "screen", "", 0, 0, " --width --height --distance ", " --width --height ",
      "how much of a screen's light spills on the subject", plan_screen },
    { "display", "", 0, 0, " --pitch --lens --distance --focus --stop --sensor --size ", " --pitch --lens --distance ",
      "does a display's pixel grid beat with the camera's?", plan_display },
    { "flicker", "", 0, 0, " --rate --shutter --display --mains --strobe ", " ",
      "rates and shutter angles at which lamps and displays are steady", plan_flicker },
    { .name = NULL },
};

void plan_say(const char *label, const char *source, const char *format, ...)
{
    va_list list;
    (void)printf("  %-24s", label);
    va_start(list, format);
    (void)vprintf(format, list);
    va_end(list);
    (void)printf("\n");
    if (source != NULL)
        (void)printf("  %-24s  = %s\n", "", source);
}

void plan_note(const char *text)
{
    (void)printf("  ! %s\n", text);
}

static bool wrong(const char *option, const char *text, const char *wanted)
{
    (void)fprintf(stderr, "passel plan: %s takes %s, not \"%s\"\n", option, wanted, text);
    return false;
}

static bool number_read(const char *text, double *value)
{
    char *end = NULL;
    errno = 0;
    *value = strtod(text, &end);
    return errno == 0 && end != text && *end == '\0' && *value > 0 && *value <= 1e9;
}

static bool read_number(const struct call *call, const char *option, double otherwise, double *value)
{
    const char *text = call_value(call, option);
    *value = otherwise;
    return text == NULL || number_read(text, value) || wrong(option, text, "a number above 0");
}

static bool read_length(const struct call *call, const char *option, double bare, double otherwise, double *value)
{
    const char *text = call_value(call, option);
    *value = otherwise;
    return text == NULL || quantity_read(text, length_units, bare, value) ||
           wrong(option, text, "a length such as 35mm, 1.2m, 4ft or 30in");
}

static bool read_speed(const struct call *call, double *value)
{
    const char *text = call_value(call, "--speed");
    *value = 0;
    return text == NULL || quantity_read(text, speed_units, 1, value) ||
           wrong("--speed", text, "a speed such as 36mph, 58km/h, 16m/s or 53ft/s");
}

static bool read_size(const struct call *call, struct plan_given *given)
{
    const char *text = call_value(call, "--size");
    char rest;
    given->pixels_across = 1920;
    given->pixels_down = 1080;
    return text == NULL ||
           (sscanf(text, "%6dx%6d%c", &given->pixels_across, &given->pixels_down, &rest) == 2 &&
            given->pixels_across > 0 && given->pixels_down > 0) ||
           wrong("--size", text, "a size such as 1920x1080");
}

static bool read_numbers(const struct call *call, const struct plan_topic *topic, struct plan_given *given)
{
    given->number_count = call->argument_count - 1;
    if (given->number_count < topic->least_numbers || given->number_count > topic->most_numbers) {
        (void)fprintf(stderr, "passel plan: expected passel plan %s %s\n", topic->name, topic->numbers);
        return false;
    }
    for (int i = 0; i < given->number_count; i++) {
        if (!number_read(call->arguments[i + 1], &given->numbers[i])) {
            (void)fprintf(stderr, "passel plan %s: \"%s\" is not a scale; write 16 for 1:16\n", topic->name,
                          call->arguments[i + 1]);
            return false;
        }
    }
    return true;
}

static bool read_given(const struct call *call, struct plan_given *given)
{
    const bool fine =
        read_number(call, "--rate", 24, &given->rate) && read_number(call, "--shutter", 180, &given->shutter) &&
        read_speed(call, &given->speed) && read_number(call, "--stop", 0, &given->stop) &&
        read_number(call, "--scale", 0, &given->scale) && read_number(call, "--display", 0, &given->display) &&
        read_number(call, "--mains", 0, &given->mains) && read_number(call, "--strobe", 0, &given->strobe) &&
        read_size(call, given) && read_length(call, "--lens", 1e-3, 0, &given->lens) &&
        read_length(call, "--distance", 1, 0, &given->distance) && read_length(call, "--focus", 1, 0, &given->focus) &&
        read_length(call, "--sensor", 1e-3, 24.9e-3, &given->sensor) &&
        read_length(call, "--blur", 1e-3, 0, &given->blur) && read_length(call, "--width", 1, 0, &given->width) &&
        read_length(call, "--height", 1, 0, &given->height) && read_length(call, "--pitch", 1e-3, 0, &given->pitch);
    if (fine && given->shutter > 360)
        return wrong("--shutter", call_value(call, "--shutter"), "an angle up to 360");
    if (fine && given->lens > 0 && (given->distance > 0 || given->focus > 0) &&
        ((given->distance > 0 && given->distance <= 2 * given->lens) ||
         (given->focus > 0 && given->focus <= 2 * given->lens))) {
        (void)fprintf(stderr, "passel plan: these sums hold for distances beyond twice the focal length\n");
        return false;
    }
    return fine;
}

static bool holds(const char *list, const char *name)
{
    char word[32];
    (void)snprintf(word, sizeof word, " %s ", name);
    return strstr(list, word) != NULL;
}

/* Only what the topic takes, and all that it needs. */
static bool options_fit(const struct call *call, const struct plan_topic *topic)
{
    for (int i = 0; i < call->given_count; i++) {
        if (!holds(topic->takes, call->given[i]->name)) {
            (void)fprintf(stderr, "passel plan %s does not take %s; it takes%s\n", topic->name, call->given[i]->name,
                          topic->takes);
            return false;
        }
    }
    for (const struct option *option = options; option->name != NULL; option++) {
        if (holds(topic->needs, option->name) && !call_has(call, option->name)) {
            (void)fprintf(stderr, "passel plan %s needs %s %s: %s\n", topic->name, option->name, option->value,
                          option->help);
            return false;
        }
    }
    return true;
}

static const struct plan_topic *topic_named(const char *word)
{
    const char *names[16] = { NULL };
    for (int i = 0; plan_topics[i].name != NULL; i++) {
        if (strcmp(plan_topics[i].name, word) == 0)
            return &plan_topics[i];
        names[i] = plan_topics[i].name;
    }
    const char *nearest = text_nearest(word, names);
    (void)fprintf(stderr, "passel plan: there is no topic \"%s\"", word);
    if (nearest != NULL)
        (void)fprintf(stderr, "; did you mean \"%s\"?", nearest);
    (void)fprintf(stderr, "\n`passel plan --help` lists them.\n");
    return NULL;
}

static enum exit_code run(const struct call *call)
{
    struct plan_given given = { 0 };
    const struct plan_topic *topic = topic_named(call->arguments[0]);
    if (topic == NULL || !options_fit(call, topic) || !read_numbers(call, topic, &given) || !read_given(call, &given))
        return EXIT_USE;
    (void)printf("%s: %s\n", topic->name, topic->summary);
    topic->answer(&given);
    return EXIT_FINE;
}

const struct command command_plan = {
    .name = "plan",
    .arguments = "TOPIC",
    .summary = "Sums for before the shoot: rates, light, focus, perspective, screens, displays, flicker.",
    .notes = "Topics\n"
             "  scale N      camera rate, light, speeds and f-number for a miniature of scale 1:N\n"
             "  focus        what is sharp: --lens --stop --distance\n"
             "  ranks N N…   forced perspective: the first rank stands at --distance; where do the others?\n"
             "  background   does a painting or display fill the frame? --lens --distance --width\n"
             "  screen       how much of a screen's light spills on the subject: --width --height\n"
             "  display      does its pixel grid beat with the camera's? --pitch --lens --distance\n"
             "  flicker      rates and shutter angles at which lamps and displays are steady\n"
             "Every answer has its formula and source. Heat, mains, rigging and charges are the business of\n"
             "licensed people and local codes, whatever the sums say.\n",
    .least_arguments = 1,
    .most_arguments = 17,
    .options = options,
    .run = run,
};

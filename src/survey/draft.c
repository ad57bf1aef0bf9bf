/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/draft.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/draft_names.h"

struct draft {
    const struct portraits *portraits;
    const char *folder, *name;
    char (*names)[DRAFT_NAME];
    int32_t first, last; /* of the shot */
    double rate;
    bool rate_said;
    const struct portrait *outline; /* the screen pass that cuts the set out, or NULL */
    const struct portrait *plate;   /* the background, or NULL */
    const struct portrait *lock;    /* or NULL */
    int lamps, elements;            /* that the set's camera saw */
    int layers;
    struct text *out;
};

static const char *name_of(const struct draft *draft, const struct portrait *p)
{
    return draft->names[p - draft->portraits->list];
}

static const struct portrait *at(const struct draft *draft, int index)
{
    return index >= 0 ? &draft->portraits->list[index] : NULL;
}

static int32_t first_of(const struct portrait *p)
{
    return p->movie ? 1 : p->clip->numbered ? p->clip->frames[0] : 0;
}

static int32_t last_of(const struct portrait *p)
{
    return p->movie ? p->frames : p->clip->numbered ? p->clip->frames[p->clip->count - 1] : 0;
}

static bool moves(const struct portrait *p)
{
    return p->movie || p->clip->numbered;
}

/* ---- what the shot is -------------------------------------------------------------------------------------------- */

/* The frames that most of the set's sequences have; the longer of two as frequent. */
static void find_frames(struct draft *draft)
{
    int most = 0;
    draft->first = draft->last = 1;
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *a = at(draft, i);
        int count = 0;
        if (!moves(a) || a->look.plane[0] == NULL)
            continue;
        for (int k = 0; k < draft->portraits->count; k++) {
            const struct portrait *b = at(draft, k);
            count += moves(b) && first_of(a) == first_of(b) && last_of(a) == last_of(b);
        }
        count = a->apart ? 0 : count;
        const bool longer = last_of(a) - first_of(a) > draft->last - draft->first;
        if (most == 0 || count > most || (count == most && longer)) {
            draft->first = first_of(a);
            draft->last = last_of(a);
            most = count > 0 ? count : 1;
        }
    }
}

static void find_rate(struct draft *draft)
{
    int most = 0;
    draft->rate = 24;
    for (int i = 0; i < draft->portraits->count; i++) {
        int count = 0;
        for (int k = 0; k < draft->portraits->count; k++)
            count += at(draft, k)->rate == at(draft, i)->rate;
        if (at(draft, i)->rate > 0 && count > most) {
            most = count;
            draft->rate = at(draft, i)->rate;
            draft->rate_said = true;
        }
    }
}

/* The brightest lamp of the longest ones: it shows most of the set. */
static void find_lock(struct draft *draft)
{
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i), *l = draft->lock;
        if (p->role != ROLE_LAMP && !(p->role == ROLE_ALL_LAMPS && draft->lamps == 0))
            continue;
        if (l == NULL || p->frames > l->frames || (p->frames == l->frames && p->bright > l->bright))
            draft->lock = p;
    }
}

static void find_parts(struct draft *draft)
{
    const struct portrait *single = NULL;
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i);
        draft->lamps += p->role == ROLE_LAMP;
        draft->elements += p->role == ROLE_ELEMENT && !p->apart;
        if (p->role == ROLE_PLATE && draft->plate == NULL)
            draft->plate = p;
        if (p->role == ROLE_SCREEN && p->partner >= 0 && draft->outline == NULL)
            draft->outline = p;
        if (p->role == ROLE_SCREEN && !p->apart && single == NULL)
            single = p;
    }
    if (draft->outline == NULL)
        draft->outline = single;
    find_lock(draft);
    find_frames(draft);
    find_rate(draft);
}

/* ---- writing ----------------------------------------------------------------------------------------------------- */

/* A path as a recipe takes it. */
static void say_path(struct draft *draft, const char *name)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._#%/-";
    const char *parts[2] = { draft->folder, name };
    const bool quoted = parts[0][strspn(parts[0], plain)] != '\0' || name[strspn(name, plain)] != '\0' ||
                        (parts[0][0] == '\0' && (name[0] == '#' || name[0] == '-'));
    text_print(draft->out, quoted ? "\"" : "");
    for (int i = 0; i < 2; i++) {
        for (const char *c = parts[i]; *c != '\0'; c++)
            text_print(draft->out, quoted && (*c == '"' || *c == '\\') ? "\\%c" : "%c", *c);
    }
    text_print(draft->out, quoted ? "\"" : "");
}

static void say_shot(struct draft *draft)
{
    struct text *out = draft->out;
    const struct portraits *portraits = draft->portraits;
    text_print(
        out,
        "passel 1\n"
        "# A first recipe, drafted from what the passes show. Every comment tells a guess, its reason and how to\n"
        "# change it; take the comment away once you have looked.\n"
        "shot %s\n",
        draft->name);
    if (draft->first == draft->last)
        text_print(out, "  frames  %d\n", (int)draft->first);
    else
        text_print(out, "  frames  %d-%d\n", (int)draft->first, (int)draft->last);
    if (!draft->rate_said)
        text_print(out, "  # No file says its rate: 24 is a guess.\n");
    text_print(out, "  rate    %.6g\n  # The size that most passes have.\n  size    %dx%d\n", draft->rate,
               (int)portraits->width, (int)portraits->height);
    if (draft->lock != NULL)
        text_print(out, "  # The brightest of the longest lamp passes: the others are held against it.\n  lock    %s\n",
                   name_of(draft, draft->lock));
}

/* What a reader can do about a wrong guess. */
static const char *remedy(const struct portrait *p)
{
    switch (p->role) {
    case ROLE_DARK:
        return "If it is none, take its `ambient` lines away.";
    case ROLE_LAMP:
        return p->apart ? "" : "If it is no lamp of the set, move its `light` line from `night` to `weather`.";
    case ROLE_ALL_LAMPS:
        return "It is off in `night`; write it alone there to see it.";
    case ROLE_ELEMENT:
        return p->apart ? "Its layer waits at the end: give it a place first."
                        : "If it is a lamp of the set, move its `light` line from `weather` to `night`.";
    case ROLE_SCREEN:
        return p->apart ? "Its layer waits at the end: give it a place first."
                        : "If the screen is another, change the `key` block.";
    case ROLE_EMPTY:
        return "If it is no empty of that screen, take the word `empty` and it away from the `key` block.";
    default:
        return "If it is no background, take its layer out of `final`.";
    }
}

static void say_timing(struct draft *draft, const struct portrait *p)
{
    struct text *out = draft->out;
    const bool covers = first_of(p) <= draft->first && last_of(p) >= draft->last && !p->movie;
    const bool gaps = !p->movie && last_of(p) - first_of(p) + 1 != p->clip->count;
    if (p->rate > 0 && p->rate != draft->rate)
        text_print(out, "  rate     %.6g\n", p->rate);
    if (!covers || p->clip->piece)
        text_print(out, "  use      %d-%d\n  start    %d\n", (int)first_of(p), (int)last_of(p), (int)draft->first);
    if (!covers)
        text_print(
            out,
            "  # It is not as long as the shot. `freeze`, `repeat` and `to-and-fro` go on with it.\n  beyond   %s\n",
            p->role == ROLE_ELEMENT ? "nothing" : "freeze");
    if (gaps)
        text_print(out, "  # Files are missing between %d and %d. `blend` mixes their neighbours.\n  missing  freeze\n",
                   (int)first_of(p), (int)last_of(p));
}

static void say_pass(struct draft *draft, const struct portrait *p)
{
    struct text *out = draft->out;
    if (moves(p))
        text_print(out, "\n# Frames %d to %d, %dx%d: ", (int)first_of(p), (int)last_of(p), (int)p->width,
                   (int)p->height);
    else
        text_print(out, "\n# A still, %dx%d: ", (int)p->width, (int)p->height);
    text_print(out, "%s.\n", p->why);
    if (p->doubt[0] != '\0')
        text_print(out, "# Not certain: %s.\n", p->doubt);
    text_print(out, "# %s\n", remedy(p));
    if (p->whole_numbers && !p->said)
        text_print(out, "# The file does not say what its numbers mean: srgb is a guess; `encoding` says otherwise.\n");
    text_print(out, "%s = pass ", name_of(draft, p));
    say_path(draft, p->clip->name);
    text_print(out, "\n");
    if (moves(p))
        say_timing(draft, p);
}

static void say_passes(struct draft *draft)
{
    static const struct {
        enum role role;
        const char *title;
    } groups[] = {
        { ROLE_LAMP, "The set under one light each." },
        { ROLE_ALL_LAMPS, "All lights together." },
        { ROLE_DARK, "Lights off: what leaks into the camera anyway." },
        { ROLE_ELEMENT, "Elements, filmed on black." },
        { ROLE_SCREEN, "Before screens." },
        { ROLE_EMPTY, "The screens alone." },
        { ROLE_PLATE, "Backgrounds." },
    };
    for (size_t g = 0; g < sizeof groups / sizeof *groups; g++) {
        bool titled = false;
        for (int i = 0; i < draft->portraits->count; i++) {
            if (at(draft, i)->role != groups[g].role)
                continue;
            if (!titled)
                text_print(draft->out, "\n# ---- %s\n", groups[g].title);
            titled = true;
            say_pass(draft, at(draft, i));
        }
    }
}

/* What is not used, and why. */
static void say_rest(struct draft *draft)
{
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i);
        if (p->role != ROLE_ODD && p->role != ROLE_UNREADABLE)
            continue;
        text_print(draft->out, "\n# Not used: ");
        for (const char *c = p->why; *c != '\0'; c++)
            text_print(draft->out, "%c", *c == '\n' ? ' ' : *c);
        text_print(draft->out, ".\n");
        if (p->doubt[0] != '\0')
            text_print(draft->out, "# Not certain: %s.\n", p->doubt);
        text_print(draft->out, "# %s = pass ", name_of(draft, p));
        say_path(draft, p->clip->name);
        text_print(draft->out, "\n");
    }
}

/* The first dark pass that passes of this role, seen by the set's camera, have. */
static const struct portrait *dark_for(const struct draft *draft, enum role role)
{
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i);
        if (p->role == role && !p->apart && p->dark >= 0)
            return at(draft, p->dark);
    }
    return NULL;
}

static void say_lights(struct draft *draft, const char *block, enum role role, bool ambient)
{
    const struct portrait *dark = dark_for(draft, role);
    text_print(draft->out, "%s = lights\n", block);
    if (dark != NULL)
        text_print(draft->out, "  ambient  %s%s\n", name_of(draft, dark), ambient ? "" : "  off");
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i);
        if (p->role == role && !p->apart)
            text_print(draft->out, "  light    %s  +0.0 stops\n", name_of(draft, p));
    }
}

static void say_night(struct draft *draft)
{
    const bool single = draft->lamps > 0;
    if (!single && draft->lock == NULL)
        return;
    text_print(
        draft->out,
        "\n# The set: each light's own part is added, and the lights-off pass once. Balance it here, in stops.\n");
    if (single && dark_for(draft, ROLE_LAMP) == NULL)
        text_print(draft->out,
                   "# No lights-off pass was found: what leaks into the camera counts once for each light.\n");
    say_lights(draft, "night", single ? ROLE_LAMP : ROLE_ALL_LAMPS, true);
    for (int i = 0; i < draft->portraits->count && single; i++) {
        if (at(draft, i)->role == ROLE_ALL_LAMPS)
            text_print(draft->out, "  light    %s  off\n", name_of(draft, at(draft, i)));
    }
}

static void say_weather(struct draft *draft)
{
    if (draft->elements == 0)
        return;
    text_print(draft->out, "\n# Elements of the same camera: only what they add.\n");
    say_lights(draft, "weather", ROLE_ELEMENT, false);
}

static void say_on(struct draft *draft, const struct portrait *screen)
{
    text_print(draft->out, "  on     %s", name_of(draft, screen));
    if (screen->empty >= 0)
        text_print(draft->out, "  empty %s", name_of(draft, at(draft, screen->empty)));
    text_print(draft->out, "\n");
}

static void say_outline(struct draft *draft)
{
    const struct portrait *s = draft->outline;
    if (s == NULL)
        return;
    if (s->partner >= 0) {
        text_print(draft->out, "\n# The same subject before two screens: what both have in common is the subject.\n"
                               "cut = key two-screen\n");
        say_on(draft, s);
        say_on(draft, at(draft, s->partner));
    } else {
        text_print(draft->out,
                   "\n# One screen only. A second pass before a screen of another colour would make `key two-screen`\n"
                   "# possible: no spill, and fine edges.\n"
                   "cut = key screen %s",
                   name_of(draft, s));
        if (s->empty >= 0)
            text_print(draft->out, "  empty %s", name_of(draft, at(draft, s->empty)));
        text_print(draft->out, "\n");
    }
    text_print(draft->out, "\n# Noise of the matte's ends is cut off: raise the floor if the bare screen is seen.\n"
                           "edge = matte cut\n  floor  3%%  ceiling 97%%\n");
}

static void say_background(struct draft *draft)
{
    const struct portrait *p = draft->plate;
    if (p == NULL)
        return;
    if (p->width <= draft->portraits->width && p->height <= draft->portraits->height &&
        (p->width < draft->portraits->width || p->height < draft->portraits->height))
        text_print(draft->out,
                   "\n# The background is smaller than the frame. It is taken to belong to the bottom.\n"
                   "sky = extend %s\n  to    %dx%d\n  keep  bottom\n  by    gradient\n",
                   name_of(draft, p), (int)draft->portraits->width, (int)draft->portraits->height);
    else if (p->width > draft->portraits->width || p->height > draft->portraits->height)
        text_print(draft->out,
                   "\n# The background is larger than the frame, which shows its upper left part: move it here.\n"
                   "sky = place %s\n  move  0 0 px\n",
                   name_of(draft, p));
    else
        text_print(
            draft->out,
            "\n# The background as it is: `look` or `lights` change it.\nsky = lights\n  light  %s  +0.0 stops\n",
            name_of(draft, p));
}

/* Passes of another camera: cut out or lit, put in the middle, their layers left to the reader. */
static void say_apart(struct draft *draft, struct text *layers)
{
    for (int i = 0; i < draft->portraits->count; i++) {
        const struct portrait *p = at(draft, i);
        const char *name = name_of(draft, p);
        const bool screen = p->role == ROLE_SCREEN;
        if (!p->apart || (!screen && p->role != ROLE_ELEMENT))
            continue;
        text_print(draft->out, "\n# %s was filmed by itself: where it goes and how large is for you to say.\n", name);
        if (screen) {
            text_print(draft->out, "%s-cut = key screen %s", name, name);
            if (p->empty >= 0)
                text_print(draft->out, "  empty %s", name_of(draft, at(draft, p->empty)));
            text_print(draft->out, "\n");
        } else {
            text_print(draft->out, "%s-cut = lights\n", name);
            if (p->dark >= 0)
                text_print(draft->out, "  ambient  %s  off\n", name_of(draft, at(draft, p->dark)));
            text_print(draft->out, "  light    %s  +0.0 stops\n", name);
        }
        text_print(draft->out, "\n%s-put = place %s-cut\n  move  %d %d px\n", name, name,
                   (int)(draft->portraits->width - p->width) / 2, (int)(draft->portraits->height - p->height) / 2);
        text_print(layers, "  # layer  %s-put  %s\n", name, screen ? "over" : "add");
    }
}

static void say_stack(struct draft *draft, const struct text *waiting)
{
    struct text *out = draft->out;
    const bool night = draft->lamps > 0 || draft->lock != NULL;
    text_print(out, "\n# Bottom first. Lit sets and elements on black are added; the matte keeps the background from "
                    "shining through.\n"
                    "final = stack\n");
    if (draft->plate != NULL)
        text_print(out, "  layer  sky%s\n", night && draft->outline != NULL ? "  holdout edge" : "");
    if (night)
        text_print(out, "  layer  night%s\n", draft->plate != NULL ? "  add" : "");
    else if (draft->outline != NULL)
        text_print(out, "  layer  cut  matte edge\n");
    if (draft->elements > 0)
        text_print(out, "  layer  weather%s\n", draft->plate != NULL || night || draft->outline != NULL ? "  add" : "");
    if (waiting->length > 0)
        text_print(out, "  # Take the # away to see these:\n%s", waiting->bytes);
    text_print(out,
               "\noutput final as frames\n  file         renders/%s%s.exr\n  pixels       half\n  compression  zip\n"
               "\noutput final as pictures\n  file  renders/%s%s.png\n",
               draft->name, draft->first == draft->last ? "" : ".####", draft->name,
               draft->first == draft->last ? "" : ".####");
}

/* Without a set, what was filmed by itself is the picture. */
static enum passel_status gather(struct draft *draft, struct passel_error *error)
{
    find_parts(draft);
    if (draft->plate == NULL && draft->lock == NULL && draft->outline == NULL && draft->elements == 0)
        return error_set(error, PASSEL_BAD_PICTURE,
                         "no pass is a lit set, a screen, an element or a background: there is nothing to stack");
    return PASSEL_OK;
}

enum passel_status draft_write(const struct portraits *portraits, const char *folder, const char *name,
                               struct text *text, struct passel_error *error)
{
    struct draft draft = { .portraits = portraits, .folder = folder, .name = name, .out = text };
    struct text waiting = { 0 };
    draft.names = memory_zeros((size_t)portraits->count + 1, DRAFT_NAME);
    if (draft.names == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    draft_names(portraits, draft.names);
    const enum passel_status status = gather(&draft, error);
    if (status == PASSEL_OK) {
        say_shot(&draft);
        say_passes(&draft);
        say_night(&draft);
        say_weather(&draft);
        say_outline(&draft);
        say_background(&draft);
        say_apart(&draft, &waiting);
        say_stack(&draft, &waiting);
        say_rest(&draft);
    }
    const bool failed = text->failed || waiting.failed;
    text_release(&waiting);
    memory_free(draft.names);
    return status == PASSEL_OK && failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : status;
}

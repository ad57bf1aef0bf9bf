/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel plan: screen, display, flicker. Sums about what shines into the camera.
 */
#include <math.h>
#include <stdio.h>

#include "command/plan_topic.h"
#include "survey/sums.h"
#include "survey/units.h"

static void say_share(const struct plan_given *given, double distance, const char *remark)
{
    char a[QUANTITY_TEXT];
    const double share = sum_screen_share(given->width, given->height, distance);
    (void)printf("    %-24s %5.1f%% (%.1f stops under it)%s\n", length_text(distance, a), 100 * share, -log2(share),
                 remark);
}

void plan_screen(const struct plan_given *given)
{
    static const double steps[] = { 0.5, 1, 2, 3.7, 4.6, 6 };
    (void)printf("  A white card turned to the screen shows this share of the screen's own brightness:\n");
    for (int i = 0; i < (int)(sizeof steps / sizeof *steps); i++)
        say_share(given, steps[i], "");
    if (given->distance > 0)
        say_share(given, given->distance, "  <- --distance");
    plan_say("spill", "view factor of a parallel rectangle, textbooks of radiative heat transfer",
             "an edge turned sideways gets half of it at most");
    plan_say("subject to screen", "B. Brown, Cinematography: Theory and Practice: 12 to 15 ft if possible",
             "3.7 to 4.6 m (12 to 15 ft)");
    plan_say("screen brightness",
             "B. Brown, Cinematography: Theory and Practice; B. Taylor, VES Handbook, chapter 3: it goes by the stop",
             "about that of the subject, one stop to either side; no general agreement");
    plan_say("screen evenness", "magazine how-to and lighting notes; common practice",
             "1/3 stop over the used area, 1/2 stop at the outside");
    plan_note("Mask off all of the screen that the camera does not need behind the subject: spill goes with the area.");
}

static void display_focus(const struct plan_given *given, double pixel, double pitch)
{
    char a[QUANTITY_TEXT];
    const double blur = sum_blur(given->lens, given->stop, given->focus, given->distance) / pixel;
    const double wanted = sum_blur_to_hide(pitch);
    plan_say("blur of the display", "f^2 |d-s| / (N d (s-f)); derived from the thin lens",
             "%.2f px with the focus at %s", blur, length_text(given->focus, a));
    plan_say("hides the grid", blur >= wanted ? "yes" : "no: open up, or bring the focus nearer", "from %.2f px on",
             wanted);
}

void plan_display(const struct plan_given *given)
{
    const double pixel = given->sensor / given->pixels_across;
    const double pitch = sum_pitch(given->pitch, given->lens, given->distance, given->sensor, given->pixels_across);
    plan_say("pitch in the picture", "pitch / (sensor * (d-f)/f) * pixels; derived from the thin lens", "%.2f px",
             pitch);
    if (pitch > 2)
        plan_say("grid", "sampling theorem: more than 2 px a period", "resolved: it is seen as dots");
    else
        plan_say("grid", "1/|1/p - n|, n the next whole number; sampling theorem", "beats: stripes of %.1f px",
                 sum_beat(pitch));
    plan_say("blur that hides it", "1.22 p: first zero of a disc's transfer, 2 J1(x)/x at x = 3.83", "%.2f px",
             sum_blur_to_hide(pitch));
    if (given->focus > 0 && given->stop > 0)
        display_focus(given, pixel, pitch);
    plan_note("Colours of a pixel lie beside each other, so faint colour stripes can stay: test with the real camera.");
}

/* The steady rates around this one. */
static void say_rates(double rate, double beats)
{
    const double near = fmax(2, round(beats / rate));
    plan_say("  rate", "beats / n", "not in step; steady at any angle: %.5g, %.5g, %.5g", beats / (near + 1),
             beats / near, beats / (near - 1));
}

static void flicker_of(const struct plan_given *given, const char *what, double beats)
{
    (void)printf("  %s: %.5g beats a second\n", what, beats);
    plan_say("  left of its swing", "|sin(pi f t)/(pi f t)|, t the exposure; mean of a sine over it",
             "%.1f%% at %.4g degrees", 100 * sum_swing_left(beats, sum_exposure(given->rate, given->shutter)),
             given->shutter);
    if (sum_in_step(given->rate, beats))
        plan_say("  rate", "beats / rate is whole", "in step: every frame is alike at any shutter angle");
    else
        say_rates(given->rate, beats);
    (void)printf("    %-22s", "steady angles");
    for (int k = 1; sum_safe_angle(given->rate, beats, k) > 0 && k <= 12; k++)
        (void)printf("%s%.1f", k > 1 ? ", " : "", sum_safe_angle(given->rate, beats, k));
    (void)printf("%s\n    %-22s  = 360 * rate * k / beats: whole beats in each exposure\n",
                 sum_safe_angle(given->rate, beats, 1) > 0 ? " degrees" : "none at this rate", "");
}

/* Each exposure catches a whole number of flashes: which, depends on when it opens. */
static void strobe(const struct plan_given *given)
{
    const double exposure = sum_exposure(given->rate, given->shutter);
    const struct flash_count flashes = sum_flashes(given->strobe, exposure);
    (void)printf("  strobe: %.5g flashes a second\n", given->strobe);
    plan_say("  in an exposure", "floor and ceiling of f t, t the exposure; definition", "%.0f to %.0f flashes",
             flashes.fewest, flashes.most);
    if (sum_in_step(given->rate, given->strobe))
        plan_say("  frames", "flashes / rate is whole", "in step: alike, once no flash meets the shutter's edge");
    else if (flashes.fewest == flashes.most)
        plan_say("  frames", "f t is whole", "alike: every exposure catches as many");
    else if (flashes.fewest > 0)
        plan_say("  frames", "log2 of the two counts; definition", "differ by %.2f stops",
                 log2(flashes.most / flashes.fewest));
    else
        plan_say("  frames", "f t below 1", "some are dark: flash once a frame, in step, or choose a longer exposure");
    plan_note("Flashing light can bring on seizures: warn everyone on the set before it flashes, and let nobody stay "
              "whom it may harm. docs/flashing.md has the limits for viewers.");
}

void plan_flicker(const struct plan_given *given)
{
    if (given->mains == 0 || given->mains == 50)
        flicker_of(given, "lamps on 50 Hz mains", 100);
    if (given->mains == 0 || given->mains == 60)
        flicker_of(given, "lamps on 60 Hz mains", 120);
    if (given->mains != 0 && given->mains != 50 && given->mains != 60)
        flicker_of(given, "lamps on this mains", 2 * given->mains);
    if (given->display > 0)
        flicker_of(given, "display", given->display);
    if (given->strobe > 0)
        strobe(given);
    plan_note("Lamps beat twice in each cycle of the mains. Dimmed LED lamps have beats of their own: ask the maker, "
              "or test.");
    if (given->display > 0)
        plan_note("A display's rate drifts against the camera's unless one clock drives both: lock them.");
    plan_note("Mains work is for licensed people, by local codes.");
}

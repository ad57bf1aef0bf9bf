/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The sums of a shoot with miniatures: rates, stops, focus, perspective, screens, displays, flicker. Lengths are
 * metres, times seconds, angles degrees; a scale of 16 means 1:16. Sources stand with each.
 */
#ifndef SURVEY_SUMS_H
#define SURVEY_SUMS_H

#include <stdbool.h>

/* Frames a second that make a miniature fall and splash as the full-size thing does: rate · √scale.
 * Source: VES Handbook, appendix A "Miniatures": 1:4 at 24 is 48, 1:16 is 96. */
double sum_camera_rate(double rate, double scale);
/* How fast a thing must move on the set to look as if it went at `speed`: speed / scale · camera / rate, which is
 * speed / √scale when the camera runs at sum_camera_rate. Same source: 36 mph at 1:6 and 60 frames a second is 22 ft/s.
 */
double sum_set_speed(double speed, double scale, double rate, double camera);
/* Stops between two exposures: log2(to / from). Definition. */
double sum_stops(double from, double to);
/* Exposure time of a rate and a shutter angle. Definition: 180 degrees at 24 is 1/48 s. */
double sum_exposure(double rate, double shutter);
/* The f-number that gives a miniature the depth of field of the full-size scene, same lens: the entrance pupil shrinks
 * with the scene, so f-number · scale. Derived from the thin lens. */
double sum_f_number(double f_number, double scale);
/* The engraved f-number next to this one (… 16, 22, 32 …). */
double sum_engraved(double f_number);
/* Diameter of the first dark ring of an ideal lens on the sensor, 2.44 · 550 nm · f-number (Airy 1835). */
double sum_airy(double f_number);

struct sharp_range {
    double hyperfocal, nearest, farthest; /* farthest is INFINITY at the hyperfocal distance and beyond */
};
/* What is sharp when the lens is focused at `distance` and a point may become a disc of `blur` on the sensor:
 * hyperfocal H = f² / (N · c) + f; from s (H - f) / (H + s - 2 f) to s (H - f) / (H - s). Derived from the thin lens.
 */
struct sharp_range sum_sharp(double lens, double f_number, double distance, double blur);
/* The disc that a point at `distance` becomes with the focus at `focus`: f² · |d - s| / (N · d · (s - f)). */
double sum_blur(double lens, double f_number, double focus, double distance);

/* How much the camera sees across at a distance: sensor · (d - f) / f. Derived from the thin lens. */
double sum_field(double sensor, double lens, double distance);
/* The focal length that makes `width` at `distance` fill the sensor; the distance at which it does. */
double sum_lens_to_fill(double sensor, double width, double distance);
double sum_distance_to_fill(double sensor, double lens, double width);

/* Share of the light a white card receives that comes off an evenly lit screen of width x height, seen from `distance`
 * in front of its middle and turned towards it; 1 is a screen on all sides. View factor of a parallel rectangle (in
 * textbooks of radiative heat transfer): four corners of 1/2π (A/√(1+A²) · atan(B/√(1+A²)) + the same with A, B
 * exchanged), A and B half the sides by the distance. */
double sum_screen_share(double width, double height, double distance);

/* How many pixels of the camera one pitch of a display covers. */
double sum_pitch(double pitch, double lens, double distance, double sensor, double pixels);
/* Period in pixels of the beat between a pattern of period `pitch` pixels and the pixels themselves: 1 / |1/p - n|, n
 * the nearest whole number ≥ 1 (sampling theorem). INFINITY where they agree. */
double sum_beat(double pitch);
/* The blur disc that makes a pattern vanish: 1.22 · pitch, the first zero of a disc's transfer 2 J1(x)/x at x = 3.8317.
 */
double sum_blur_to_hide(double pitch);

/* Share of a light's swing that is left when it beats `frequency` times a second and is exposed for `exposure`:
 * |sin(π f t) / (π f t)|. Mean of a sine over the exposure. */
double sum_swing_left(double frequency, double exposure);
/* The k-th shutter angle (k = 1, 2 …) over which a light that beats `frequency` times a second goes a whole number of
 * times: 360 · rate · k / frequency; 0 when that is above 360. */
double sum_safe_angle(double rate, double frequency, int k);
/* How many flashes of a strobe an exposure catches, at least and at most: the whole numbers around frequency ·
 * exposure. */
struct flash_count {
    double fewest, most;
};
struct flash_count sum_flashes(double frequency, double exposure);
/* True when every frame meets the light at the same point of its beat: frequency / rate is whole (within 1e-6). */
bool sum_in_step(double rate, double frequency);

#endif

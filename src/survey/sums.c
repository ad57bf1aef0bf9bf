/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/sums.h"

#include <math.h>
#include <stddef.h>

#define PI 3.14159265358979323846

double sum_camera_rate(double rate, double scale)
{
    return rate * sqrt(scale);
}

double sum_set_speed(double speed, double scale, double rate, double camera)
{
    return speed / scale * camera / rate;
}

double sum_stops(double from, double to)
{
    return log2(to / from);
}

double sum_exposure(double rate, double shutter)
{
    return shutter / 360 / rate;
}

double sum_f_number(double f_number, double scale)
{
    return f_number * scale;
}

double sum_engraved(double f_number)
{
    static const double marks[] = { 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90, 128 };
    const int last = (int)(sizeof marks / sizeof *marks) - 1;
    const double stop = round(2 * log2(f_number));
    return marks[stop < 0 ? 0 : stop > last ? last : (int)stop];
}

double sum_airy(double f_number)
{
    return 2.44 * 550e-9 * f_number;
}

struct sharp_range sum_sharp(double lens, double f_number, double distance, double blur)
{
    const double hyperfocal = lens * lens / (f_number * blur) + lens;
    const double near = distance * (hyperfocal - lens) / (hyperfocal + distance - 2 * lens);
    const double far = distance < hyperfocal ? distance * (hyperfocal - lens) / (hyperfocal - distance) : INFINITY;
    return (struct sharp_range){ hyperfocal, near, far };
}

double sum_blur(double lens, double f_number, double focus, double distance)
{
    return lens * lens * fabs(distance - focus) / (f_number * distance * (focus - lens));
}

double sum_field(double sensor, double lens, double distance)
{
    return sensor * (distance - lens) / lens;
}

double sum_lens_to_fill(double sensor, double width, double distance)
{
    return distance * sensor / (width + sensor);
}

double sum_distance_to_fill(double sensor, double lens, double width)
{
    return lens * (width + sensor) / sensor;
}

static double corner_share(double a, double b)
{
    const double ra = sqrt(1 + a * a), rb = sqrt(1 + b * b);
    return (a / ra * atan(b / ra) + b / rb * atan(a / rb)) / (2 * PI);
}

double sum_screen_share(double width, double height, double distance)
{
    return 4 * corner_share(width / 2 / distance, height / 2 / distance);
}

double sum_pitch(double pitch, double lens, double distance, double sensor, double pixels)
{
    return pitch / sum_field(sensor, lens, distance) * pixels;
}

double sum_beat(double pitch)
{
    const double cycles = 1 / pitch;
    const double apart = fabs(cycles - fmax(1, round(cycles)));
    return apart > 1e-9 ? 1 / apart : INFINITY;
}

double sum_blur_to_hide(double pitch)
{
    return 3.8317059702 / PI * pitch;
}

double sum_swing_left(double frequency, double exposure)
{
    const double x = PI * frequency * exposure;
    return x > 0 ? fabs(sin(x) / x) : 1;
}

double sum_safe_angle(double rate, double frequency, int k)
{
    const double angle = 360 * rate * k / frequency;
    return angle <= 360 * (1 + 1e-9) ? angle : 0;
}

struct flash_count sum_flashes(double frequency, double exposure)
{
    const double count = frequency * exposure, whole = round(count);
    if (fabs(count - whole) < 1e-9 * fmax(1, whole))
        return (struct flash_count){ whole, whole };
    return (struct flash_count){ floor(count), ceil(count) };
}

bool sum_in_step(double rate, double frequency)
{
    const double beats = frequency / rate;
    return beats > 0.5 && fabs(beats - round(beats)) < 1e-6;
}

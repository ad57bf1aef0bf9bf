/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/encoding_setting.h"

const struct choice encoding_choices[] = {
    [ENCODING_LINEAR] = { "linear", "numbers are light" },
    [ENCODING_SRGB] = { "srgb", "IEC 61966-2-1, as most PNG and JPEG files are" },
    [ENCODING_REC709] = { "rec709", "the camera curve of Rec. ITU-R BT.709" },
    [ENCODING_BT1886] = { "bt1886", "a display after Rec. ITU-R BT.1886 with black at zero: a power of 2.4" },
    [ENCODING_GAMMA] = { "gamma", "a plain power: light = code ^ N; N is 2.2 when not given" },
    [ENCODING_COUNT] = { NULL, NULL },
};

struct encoding encoding_setting(const struct setting *setting, struct encoding otherwise)
{
    if (setting == NULL)
        return otherwise;
    const struct value *number = setting_value(setting, 1);
    return (struct encoding){ .curve = (enum encoding_curve)setting_value(setting, 0)->choice,
                              .gamma = number != NULL ? value_at(number, 0, 0, 1) : 2.2 };
}

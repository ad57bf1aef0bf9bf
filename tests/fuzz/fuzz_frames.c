/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Any bytes as a list of frames: refused with words, or rising and within the limit.
 */
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "fuzz.h"
#include "language/recipe.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = calloc(size + 1, 1);
    int32_t *frames = NULL;
    int count = 0;
    struct passel_error error = { PASSEL_OK, "" };
    memcpy(text, data, size);
    const enum passel_status status = frames_parse(text, &frames, &count, &error);
    if (status != PASSEL_OK && (error.text[0] == '\0' || frames != NULL))
        abort();
    if (status == PASSEL_OK && (count < 1 || count > 1000000))
        abort();
    for (int i = 1; i < count; i++)
        if (frames[i - 1] >= frames[i])
            abort();
    memory_free(frames);
    free(text);
    return 0;
}

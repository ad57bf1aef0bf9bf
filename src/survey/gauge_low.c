/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/gauge_low.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* Of a part that holds fewer blocks that count nothing is said. */
enum { PART_LEAST = 8 };

enum passel_status low_begin(int32_t width, int32_t height, int32_t most, struct low_run *run,
                             struct passel_error *error)
{
    const int32_t block = look_block(width, most);
    *run = (struct low_run){ .across = width / block > 0 ? width / block : 1,
                             .down = height / block > 0 ? height / block : 1,
                             .block = block,
                             .lowest = { INFINITY, INFINITY, INFINITY } };
    run->counts = memory_zeros((size_t)run->across * (size_t)run->down, 3 * sizeof *run->counts);
    return run->counts != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

/* A value that is lower than all before makes their counts void. */
static void add_row(struct low_run *run, int channel, const float *row, int32_t x0, int32_t x1, int32_t y)
{
    uint32_t *counts = run->counts + (ptrdiff_t)channel * run->across * run->down;
    float least = run->lowest[channel];
    for (int32_t x = 0; x < x1 - x0; x++)
        least = row[x] < least ? row[x] : least;
    if (least < run->lowest[channel])
        memset(counts, 0, (size_t)run->across * (size_t)run->down * sizeof *counts);
    run->lowest[channel] = least;
    for (int32_t block = 0; block < run->across; block++) {
        const int32_t first = block * run->block > x0 ? block * run->block : x0;
        const int32_t last = (block + 1) * run->block < x1 ? (block + 1) * run->block : x1;
        uint32_t count = 0;
        for (int32_t x = first; x < last; x++)
            count += row[x - x0] <= least;
        counts[y / run->block * run->across + block] += count;
    }
}

void low_rows(struct low_run *run, const struct picture *rows)
{
    const struct rect area = rows->area;
    for (int32_t y = area.y0 > 0 ? area.y0 : 0; y < area.y1 && y / run->block < run->down; y++) {
        for (int c = 0; c < 3; c++)
            add_row(run, c, picture_row(rows, (enum plane)c, y), area.x0, area.x1, y);
    }
}

enum passel_status low_end(struct low_run *run, struct low_map *map, struct passel_error *error)
{
    const size_t blocks = (size_t)run->across * (size_t)run->down;
    const uint32_t half = (uint32_t)run->block * (uint32_t)run->block / 2;
    *map = (struct low_map){ .across = run->across, .down = run->down, .channels = memory_zeros(blocks, 1) };
    for (size_t i = 0; i < blocks && map->channels != NULL; i++) {
        for (int c = 0; c < 3; c++)
            map->channels[i] |= (uint8_t)((run->counts[(size_t)c * blocks + i] > half) << c);
    }
    memory_free(run->counts);
    run->counts = NULL;
    return map->channels != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

void low_map_release(struct low_map *map)
{
    memory_free(map->channels);
    *map = (struct low_map){ 0 };
}

void gauge_crushed(const struct low_map *map, const struct look *like, const bool *counts, const bool channels[3],
                   struct crushed_gauge *gauge)
{
    size_t all[PARTS] = { 0 }, low[3][PARTS] = { 0 }, sums[3] = { 0 }, sum = 0;
    *gauge = (struct crushed_gauge){ .share = -1, .channel = -1, .part = -1 };
    for (int i = 0; i < PARTS; i++)
        gauge->parts[i] = -1;
    if (map->channels == NULL || map->across != like->across || map->down != like->down)
        return;
    for (size_t i = 0; i < look_count(like); i++) {
        const int part = part_of(like, i);
        if (!counts[i])
            continue;
        all[part]++;
        sum++;
        for (int c = 0; c < 3; c++) {
            const bool crushed = channels[c] && (map->channels[i] >> c & 1) != 0;
            low[c][part] += crushed;
            sums[c] += crushed;
        }
    }
    if (sum == 0)
        return;
    const int worst = sums[2] > sums[1] && sums[2] > sums[0] ? 2 : sums[1] > sums[0] ? 1 : 0;
    gauge->share = (double)sums[worst] / (double)sum;
    gauge->channel = sums[worst] > 0 ? worst : -1;
    for (int i = 0; i < PARTS && sums[worst] > 0; i++) {
        gauge->parts[i] = all[i] >= PART_LEAST ? (float)low[worst][i] / (float)all[i] : -1;
        if (gauge->parts[i] > 0 && (gauge->part < 0 || gauge->parts[i] > gauge->parts[gauge->part]))
            gauge->part = i;
    }
}

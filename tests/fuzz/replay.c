/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Runs a fuzz target on every file of its corpus, as it is and changed in COUNT ways each: bytes flipped, taken out,
 * doubled, pieces of other files put in. The changes come from a fixed seed, so every run is the same.
 *
 *   NAME_replay FOLDER COUNT
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/memory.h"
#include "fuzz.h"

/* Inputs grow to this at most. */
#define LONGEST 65536

struct input {
    char *bytes;
    size_t size;
};

static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    return *seed ^= *seed << 17;
}

static size_t below(uint64_t *seed, size_t limit)
{
    return limit == 0 ? 0 : (size_t)(next_random(seed) % limit);
}

/* Puts a piece of `from` into `bytes` at a random place; returns the new size. */
static size_t insert(uint64_t *seed, char *bytes, size_t size, const struct input *from)
{
    const size_t at = below(seed, size + 1), begin = below(seed, from->size);
    size_t count = below(seed, from->size - begin + 1) % 64;
    if (size + count > LONGEST)
        count = 0;
    memmove(bytes + at + count, bytes + at, size - at);
    memcpy(bytes + at, from->bytes + begin, count);
    return size + count;
}

static size_t take_out(uint64_t *seed, char *bytes, size_t size)
{
    const size_t at = below(seed, size);
    const size_t count = below(seed, size - at + 1) % 32;
    memmove(bytes + at, bytes + at + count, size - at - count);
    return size - count;
}

/* Changes `bytes` a little; returns the new size. */
static size_t change(uint64_t *seed, char *bytes, size_t size, const struct input *other)
{
    for (size_t rounds = 1 + below(seed, 4); rounds > 0; rounds--) {
        switch (below(seed, 4)) {
        case 0:
            if (size > 0)
                bytes[below(seed, size)] ^= (char)(1u << below(seed, 8));
            break;
        case 1:
            if (size > 0)
                bytes[below(seed, size)] = "\n\t #[],=\"\\.%-+0x\xC3"[below(seed, 17)];
            break;
        case 2:
            size = take_out(seed, bytes, size);
            break;
        default:
            size = insert(seed, bytes, size, other);
        }
    }
    return size;
}

/* A copy of just this size, so that a sanitizer sees a look beyond it. */
static void run(const char *bytes, size_t size)
{
    uint8_t *copy = malloc(size > 0 ? size : 1);
    if (copy == NULL)
        abort();
    memcpy(copy, bytes, size);
    LLVMFuzzerTestOneInput(copy, size);
    free(copy);
}

static void replay(const struct input *inputs, size_t count, size_t index, int changes)
{
    static char bytes[LONGEST];
    uint64_t seed = 0x9E3779B97F4A7C15u + index;
    run(inputs[index].bytes, inputs[index].size);
    for (int i = 0; i < changes; i++) {
        size_t size = inputs[index].size < LONGEST ? inputs[index].size : LONGEST;
        memcpy(bytes, inputs[index].bytes, size);
        size = change(&seed, bytes, size, &inputs[below(&seed, count)]);
        run(bytes, size);
    }
}

static bool read_inputs(const char *folder, char *const *names, size_t count, struct input *inputs)
{
    for (size_t i = 0; i < count; i++) {
        char *path = path_join(folder, names[i]);
        if (path == NULL || file_read(path, 1 << 24, &inputs[i].bytes, &inputs[i].size, NULL) != PASSEL_OK) {
            fprintf(stderr, "%s/%s cannot be read\n", folder, names[i]);
            memory_free(path);
            return false;
        }
        memory_free(path);
    }
    return true;
}

int main(int argc, char **argv)
{
    char **names = NULL;
    size_t count = 0;
    if (argc != 3 || folder_list(argv[1], &names, &count, NULL) != PASSEL_OK || count == 0) {
        fprintf(stderr, "usage: %s FOLDER COUNT (the folder must hold files)\n", argv[0]);
        return 2;
    }
    struct input *inputs = memory_zeros(count, sizeof *inputs);
    const bool fine = inputs != NULL && read_inputs(argv[1], names, count, inputs);
    for (size_t i = 0; fine && i < count; i++)
        replay(inputs, count, i, atoi(argv[2]));
    for (size_t i = 0; inputs != NULL && i < count; i++)
        memory_free(inputs[i].bytes);
    memory_free(inputs);
    folder_free(names, count);
    if (fine)
        printf("%zu files, each also changed in %s ways\n", count, argv[2]);
    return fine ? 0 : 1;
}

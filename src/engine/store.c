/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/store.h"

#include <stdint.h>

#include "base/memory.h"

static struct stored **bucket_of(struct store *store, XXH128_hash_t key)
{
    return &store->buckets[key.low64 % (sizeof store->buckets / sizeof store->buckets[0])];
}

XXH128_hash_t store_key(XXH128_hash_t digest, enum form form, unsigned planes, struct rect area)
{
    const struct {
        XXH128_hash_t digest;
        int32_t form;
        uint32_t planes;
        struct rect area;
    } key = { digest, (int32_t)form, planes, area };
    return XXH3_128bits(&key, sizeof key);
}

static void leave_unheld(struct store *store, struct stored *stored)
{
    if (stored->newer != NULL)
        stored->newer->older = stored->older;
    else if (store->newest == stored)
        store->newest = stored->older;
    if (stored->older != NULL)
        stored->older->newer = stored->newer;
    else if (store->oldest == stored)
        store->oldest = stored->newer;
    stored->newer = stored->older = NULL;
}

static void enter_unheld(struct store *store, struct stored *stored)
{
    stored->older = store->newest;
    if (store->newest != NULL)
        store->newest->newer = stored;
    else
        store->oldest = stored;
    store->newest = stored;
}

static void forget(struct store *store, struct stored *stored)
{
    struct stored **link = bucket_of(store, stored->key);
    while (*link != stored)
        link = &(*link)->next_in_bucket;
    *link = stored->next_in_bucket;
    leave_unheld(store, stored);
    store->bytes -= stored->bytes;
    picture_release(&stored->picture);
    if (stored->found != NULL && stored->drop_found != NULL)
        stored->drop_found(stored->found);
    memory_free(stored);
}

struct stored *store_find(struct store *store, XXH128_hash_t key)
{
    for (struct stored *stored = *bucket_of(store, key); stored != NULL; stored = stored->next_in_bucket) {
        if (!XXH128_isEqual(stored->key, key) || stored->state == STORED_FAILED)
            continue;
        if (stored->references++ == 0)
            leave_unheld(store, stored);
        return stored;
    }
    return NULL;
}

struct stored *store_claim(struct store *store, XXH128_hash_t key, bool keep)
{
    struct stored *stored = memory_zeros(1, sizeof *stored);
    if (stored == NULL)
        return NULL;
    struct stored **bucket = bucket_of(store, key);
    stored->key = key;
    stored->state = STORED_MAKING;
    stored->keep = keep;
    stored->references = 1;
    stored->next_in_bucket = *bucket;
    *bucket = stored;
    return stored;
}

void store_make_room(struct store *store, size_t bytes)
{
    while (store->oldest != NULL && store->bytes + bytes > store->budget)
        forget(store, store->oldest);
}

void store_account(struct store *store, struct stored *stored, size_t bytes)
{
    store_make_room(store, bytes);
    stored->bytes += bytes;
    store->bytes += bytes;
    if (store->bytes > store->most_bytes)
        store->most_bytes = store->bytes;
}

void store_unref(struct store *store, struct stored *stored)
{
    if (stored == NULL || --stored->references > 0)
        return;
    enter_unheld(store, stored);
    if (!stored->keep || stored->state != STORED_READY)
        forget(store, stored);
}

void store_release(struct store *store)
{
    while (store->oldest != NULL)
        forget(store, store->oldest);
}

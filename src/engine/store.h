/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Results that are kept: whole pictures, spline coefficients, what analyses found. Each is made once, known by a
 * digest, counted by reference, and forgotten when nobody holds it and memory is wanted. The store takes no lock: its
 * owner calls it under one.
 */
#ifndef ENGINE_STORE_H
#define ENGINE_STORE_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <xxhash.h>

#include "engine/plan.h"

struct job;

enum stored_state { STORED_MAKING, STORED_READY, STORED_FAILED };

struct stored {
    XXH128_hash_t key;
    enum stored_state state;
    bool keep; /* worth keeping when nobody holds it */
    int references;
    size_t bytes;
    struct picture picture; /* a picture … */
    void *found;            /* … or what an analysis found */
    void (*drop_found)(void *found);
    struct job *waiting; /* jobs to be woken, linked by themselves */
    struct stored *next_in_bucket;
    struct stored *newer, *older; /* those that nobody holds */
};

struct store {
    struct stored *buckets[1024];
    struct stored *newest, *oldest; /* unreferenced ones, for forgetting */
    size_t bytes, budget;
    size_t most_bytes; /* the most that was ever held */
};

/* The key of a picture in a form with these planes. */
XXH128_hash_t store_key(XXH128_hash_t digest, enum form form, unsigned planes, struct rect area);

/* A reference to the result, or NULL when there is none (or it failed). */
struct stored *store_find(struct store *store, XXH128_hash_t key);
/* A new entry in state MAKING, with one reference; NULL when memory is out. */
struct stored *store_claim(struct store *store, XXH128_hash_t key, bool keep);
/* Accounts `bytes` for an entry, forgetting others that nobody holds as long as the budget is exceeded. */
void store_account(struct store *store, struct stored *stored, size_t bytes);
/* Forgets unheld results until `bytes` more fit the budget, or none are left. */
void store_make_room(struct store *store, size_t bytes);
void store_unref(struct store *store, struct stored *stored); /* NULL is fine */
void store_release(struct store *store);

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Digests of what makes a picture: words, values at a frame, inputs. 128 bits (XXH3), not against ill will but against
 * chance. Equal digests mean equal pictures; nothing of a date, a thread or a machine goes in.
 */
#ifndef ENGINE_DIGEST_H
#define ENGINE_DIGEST_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <xxhash.h>

#include "kinds/kind.h"

struct digest {
    XXH3_state_t *state;
};

enum passel_status digest_begin(struct digest *digest, struct passel_error *error);
void digest_bytes(struct digest *digest, const void *bytes, size_t size);
void digest_text(struct digest *digest, const char *text); /* with its end, so that "ab","c" differs from "a","bc" */
void digest_shot(struct digest *digest, const struct shot *shot, int scale);
/* Every setting of a block as it is at `frame`. Pictures that it names are left to their own digests. With `changing`
 * false, numbers that change over frames are left out. */
void digest_block(struct digest *digest, const struct block *block, double frame, bool changing);
XXH128_hash_t digest_end(struct digest *digest); /* releases it */

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Stands between the code under test and base/memory.h: fails the n-th allocation, once or for good, and counts the
 * blocks that were not given back. A test gets it with `passel_unit(test_thing fail_memory)`, which links with the
 * linker's --wrap. Calls are counted on every thread.
 */
#ifndef TESTS_FAIL_MEMORY_H
#define TESTS_FAIL_MEMORY_H

#include <passel/error.h>
#include <stdbool.h>

/* Fails the n-th call from now on (1 is the next one); with `for_good` every later one too. */
void fail_memory_at(long n, bool for_good);

/* No call fails any more. */
void fail_memory_never(void);

/* True when a call was failed since the last fail_memory_at. */
bool fail_memory_hit(void);

/* Blocks that are in the hands of the program now. */
long fail_memory_open(void);

/* Runs `attempt` over and over, with its first, second, … allocation failing, once and then for good, until it makes
 * no call that fails. Fails the test when an attempt leaves blocks behind, when one that met a failure does not return
 * PASSEL_NO_MEMORY, or when the last one does not return PASSEL_OK. Returns how many allocations the attempt makes. */
typedef enum passel_status fail_memory_attempt(void *data);
long fail_memory_each(fail_memory_attempt *attempt, void *data);

#endif

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The one function of a fuzz target. libFuzzer calls it with what it makes up; replay.c with the corpus.
 */
#ifndef TESTS_FUZZ_H
#define TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>

/* Always 0; aborts when something is wrong. `data` need not outlive the call. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#endif

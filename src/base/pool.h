/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A pool of threads and a queue of tasks, ordered by rank. It knows nothing of pictures.
 */
#ifndef BASE_POOL_H
#define BASE_POOL_H

#include <passel/error.h>
#include <stdint.h>

struct pool;

/* A task: `worker` is the number of the thread that runs it, 0 … threads-1, so it can use that thread's scratch.
 * A task may submit further tasks; it must never wait for one. */
typedef void task_function(void *data, int worker);

/* Starts `threads` threads (≥ 1). Sets the default floating-point mode on each (round to nearest, denormals kept). */
enum passel_status pool_new(int threads, struct pool **pool, struct passel_error *error);

/* Queues a task. Smaller `rank` runs first; equal ranks in order of submission. PASSEL_NO_MEMORY when the queue
 * cannot grow: the task is then not queued. Safe from any thread. */
enum passel_status pool_submit(struct pool *pool, int64_t rank, task_function *run, void *data);

/* Waits until the queue is empty and no task is running. */
void pool_wait(struct pool *pool);

/* Waits as pool_wait, ends the threads and frees the pool. NULL is fine. */
void pool_free(struct pool *pool);

/* How many threads the machine offers this process (≥ 1), honouring its CPU affinity. */
int machine_threads(void);

#endif

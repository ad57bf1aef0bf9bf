/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The pool: threads that take tasks from one binary heap, the smallest (rank, number of submission) on top. The
 * number makes the order total, so tasks of equal rank start as they came.
 */
#define _GNU_SOURCE /* sched_getaffinity */
#include "base/pool.h"

#include "base/error.h"
#include "base/memory.h"

#include <assert.h>
#include <fenv.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdbool.h>
#include <string.h>
#include <unistd.h>

struct task {
    int64_t rank;
    uint64_t number;
    task_function *run;
    void *data;
};

struct worker {
    struct pool *pool;
    pthread_t thread;
    int number;
};

struct pool {
    pthread_mutex_t lock; /* guards all that follows, but for `workers` */
    pthread_cond_t work;  /* a task was queued, or the end has come */
    pthread_cond_t idle;  /* nothing is queued and nothing runs */
    struct task *heap;
    size_t count, room;
    uint64_t submitted;
    int running;
    bool ending;
    int threads; /* those that were started */
    struct worker *workers;
};

static bool task_before(const struct task *a, const struct task *b)
{
    return a->rank != b->rank ? a->rank < b->rank : a->number < b->number;
}

/* Puts a task into the heap, which has room for it. */
static void heap_push(struct pool *pool, struct task task)
{
    size_t at = pool->count++;
    while (at > 0 && task_before(&task, &pool->heap[(at - 1) / 2])) {
        pool->heap[at] = pool->heap[(at - 1) / 2];
        at = (at - 1) / 2;
    }
    pool->heap[at] = task;
}

/* Takes the first task off a heap that is not empty. */
static struct task heap_pop(struct pool *pool)
{
    const struct task first = pool->heap[0];
    const struct task moved = pool->heap[--pool->count];
    size_t at = 0;
    for (;;) {
        size_t child = 2 * at + 1;
        if (child >= pool->count)
            break;
        if (child + 1 < pool->count && task_before(&pool->heap[child + 1], &pool->heap[child]))
            child++;
        if (!task_before(&pool->heap[child], &moved))
            break;
        pool->heap[at] = pool->heap[child];
        at = child;
    }
    if (pool->count > 0)
        pool->heap[at] = moved;
    return first;
}

static void *worker_main(void *data)
{
    const struct worker *worker = data;
    struct pool *pool = worker->pool;
    pthread_mutex_lock(&pool->lock);
    for (;;) {
        while (pool->count == 0 && !pool->ending)
            pthread_cond_wait(&pool->work, &pool->lock);
        if (pool->count == 0)
            break;
        const struct task task = heap_pop(pool);
        pool->running++;
        pthread_mutex_unlock(&pool->lock);
        /* Set anew for each task: threads inherit the mode of their creator, and a library may have changed it. */
        fesetenv(FE_DFL_ENV);
        task.run(task.data, worker->number);
        pthread_mutex_lock(&pool->lock);
        pool->running--;
        if (pool->running == 0 && pool->count == 0)
            pthread_cond_broadcast(&pool->idle);
    }
    pthread_mutex_unlock(&pool->lock);
    return NULL;
}

/* The signals that a program handles on threads of its own; those of a fault stay with the thread that fails. */
static void programs_signals(sigset_t *set)
{
    static const int faults[] = { SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGTRAP, SIGPROF };
    sigfillset(set);
    for (size_t i = 0; i < sizeof faults / sizeof *faults; i++)
        sigdelset(set, faults[i]);
}

/* Starts the threads; pool->threads tells how many there are in the end. Returns an error number of pthreads. */
static int start_threads(struct pool *pool, int threads)
{
    sigset_t blocked, before;
    programs_signals(&blocked);
    pthread_sigmask(SIG_BLOCK, &blocked, &before);
    int failed = 0;
    for (int i = 0; i < threads && failed == 0; i++) {
        pool->workers[i] = (struct worker){ .pool = pool, .number = i };
        failed = pthread_create(&pool->workers[i].thread, NULL, worker_main, &pool->workers[i]);
        if (failed == 0)
            pool->threads++;
    }
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return failed;
}

enum passel_status pool_new(int threads, struct pool **pool, struct passel_error *error)
{
    assert(threads >= 1);
    *pool = NULL;
    struct pool *made = memory_zeros(1, sizeof *made);
    struct worker *workers = memory_zeros((size_t)threads, sizeof *workers);
    if (made == NULL || workers == NULL) {
        memory_free(workers);
        memory_free(made);
        return error_set(error, PASSEL_NO_MEMORY, "no memory for %d threads", threads);
    }
    made->workers = workers;
    pthread_mutex_init(&made->lock, NULL);
    pthread_cond_init(&made->work, NULL);
    pthread_cond_init(&made->idle, NULL);
    const int failed = start_threads(made, threads);
    if (failed != 0) {
        const int started = made->threads;
        pool_free(made);
        return error_set(error, PASSEL_NO_MEMORY, "the machine starts only %d of %d threads (error %d)", started,
                         threads, failed);
    }
    *pool = made;
    return PASSEL_OK;
}

/* Makes room for one more task; the lock is held. */
static bool heap_room(struct pool *pool)
{
    if (pool->count < pool->room)
        return true;
    const size_t room = pool->room == 0 ? 64 : 2 * pool->room;
    struct task *heap = memory_grow(pool->heap, pool->count, room, sizeof *heap);
    if (heap == NULL)
        return false;
    pool->heap = heap;
    pool->room = room;
    return true;
}

enum passel_status pool_submit(struct pool *pool, int64_t rank, task_function *run, void *data)
{
    enum passel_status status = PASSEL_NO_MEMORY;
    pthread_mutex_lock(&pool->lock);
    if (heap_room(pool)) {
        heap_push(pool, (struct task){ rank, pool->submitted++, run, data });
        pthread_cond_signal(&pool->work);
        status = PASSEL_OK;
    }
    pthread_mutex_unlock(&pool->lock);
    return status;
}

void pool_wait(struct pool *pool)
{
    pthread_mutex_lock(&pool->lock);
    while (pool->count > 0 || pool->running > 0)
        pthread_cond_wait(&pool->idle, &pool->lock);
    pthread_mutex_unlock(&pool->lock);
}

void pool_free(struct pool *pool)
{
    if (pool == NULL)
        return;
    pool_wait(pool);
    pthread_mutex_lock(&pool->lock);
    pool->ending = true;
    pthread_cond_broadcast(&pool->work);
    pthread_mutex_unlock(&pool->lock);
    for (int i = 0; i < pool->threads; i++)
        pthread_join(pool->workers[i].thread, NULL);
    pthread_cond_destroy(&pool->idle);
    pthread_cond_destroy(&pool->work);
    pthread_mutex_destroy(&pool->lock);
    memory_free(pool->heap);
    memory_free(pool->workers);
    memory_free(pool);
}

int machine_threads(void)
{
    cpu_set_t set;
    if (sched_getaffinity(0, sizeof set, &set) == 0 && CPU_COUNT(&set) > 0)
        return CPU_COUNT(&set);
    /* More processors than the set has room for. */
    const long online = sysconf(_SC_NPROCESSORS_ONLN);
    return online < 1 ? 1 : online > 4096 ? 4096 : (int)online;
}

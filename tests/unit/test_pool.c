/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The pool: order, completeness, worker numbers, tasks that submit tasks, failures.
 */
#define _GNU_SOURCE /* sched_setaffinity */
#include "base/pool.h"

#include "fail_memory.h"

#include <fenv.h>
#include <pthread.h>
#include <sched.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { MANY = 5000 };

/* Holds the only thread back until the test has queued what it wants. */
struct gate {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool open;
};

static void wait_at_gate(void *data, int worker)
{
    struct gate *gate = data;
    (void)worker;
    pthread_mutex_lock(&gate->lock);
    while (!gate->open)
        pthread_cond_wait(&gate->changed, &gate->lock);
    pthread_mutex_unlock(&gate->lock);
}

static void open_gate(struct gate *gate)
{
    pthread_mutex_lock(&gate->lock);
    gate->open = true;
    pthread_cond_signal(&gate->changed);
    pthread_mutex_unlock(&gate->lock);
}

struct log {
    int count;
    int order[MANY];
};

struct entry {
    struct log *log;
    int64_t rank;
    int number;
};

static void write_log(void *data, int worker)
{
    const struct entry *entry = data;
    assert_int_equal(worker, 0);
    entry->log->order[entry->log->count++] = entry->number;
}

/* Ranks come in a scrambled order; the log must be sorted by rank, then by submission. */
static void tasks_run_by_rank_then_submission(void **state)
{
    (void)state;
    static struct entry entries[MANY];
    static struct log log;
    struct gate gate = { PTHREAD_MUTEX_INITIALIZER, PTHREAD_COND_INITIALIZER, false };
    struct pool *pool;
    assert_int_equal(pool_new(1, &pool, NULL), PASSEL_OK);
    assert_int_equal(pool_submit(pool, INT64_MIN, wait_at_gate, &gate), PASSEL_OK);
    for (int i = 0; i < MANY; i++) {
        entries[i] = (struct entry){ &log, (int64_t)(i * 7919 % 101) - 50, i };
        assert_int_equal(pool_submit(pool, entries[i].rank, write_log, &entries[i]), PASSEL_OK);
    }
    open_gate(&gate);
    pool_free(pool);
    assert_int_equal(log.count, MANY);
    for (int i = 1; i < MANY; i++) {
        const struct entry *a = &entries[log.order[i - 1]], *b = &entries[log.order[i]];
        assert_true(a->rank < b->rank || (a->rank == b->rank && a->number < b->number));
    }
}

struct tally {
    struct pool *pool;
    atomic_int done;
    atomic_int by_worker[4];
};

static void count_one(void *data, int worker)
{
    struct tally *tally = data;
    assert_in_range(worker, 0, 3);
    atomic_fetch_add(&tally->by_worker[worker], 1);
    atomic_fetch_add(&tally->done, 1);
}

static void wait_sees_every_task_done(void **state)
{
    (void)state;
    struct tally tally = { .done = 0 };
    assert_int_equal(pool_new(4, &tally.pool, NULL), PASSEL_OK);
    pool_wait(tally.pool);
    for (int round = 1; round <= 20; round++) {
        for (int i = 0; i < 100; i++)
            assert_int_equal(pool_submit(tally.pool, i, count_one, &tally), PASSEL_OK);
        pool_wait(tally.pool);
        assert_int_equal(atomic_load(&tally.done), 100 * round);
    }
    pool_free(tally.pool);
    int sum = 0;
    for (int i = 0; i < 4; i++)
        sum += atomic_load(&tally.by_worker[i]);
    assert_int_equal(sum, 2000);
}

static void free_finishes_the_queue(void **state)
{
    (void)state;
    struct tally tally = { .done = 0 };
    assert_int_equal(pool_new(2, &tally.pool, NULL), PASSEL_OK);
    for (int i = 0; i < 1000; i++)
        assert_int_equal(pool_submit(tally.pool, 0, count_one, &tally), PASSEL_OK);
    pool_free(tally.pool);
    assert_int_equal(atomic_load(&tally.done), 1000);
    pool_free(NULL);
}

struct branch {
    struct tally *tally;
    int depth;
};

/* Each task submits two more, down to a depth; all nodes of the tree are in one array, the children of i at 2i+1. */
static struct branch tree[2047];

static void grow_tree(void *data, int worker)
{
    struct branch *branch = data;
    const ptrdiff_t at = branch - tree;
    count_one(branch->tally, worker);
    for (ptrdiff_t child = 2 * at + 1; child <= 2 * at + 2 && child < 2047; child++) {
        tree[child] = (struct branch){ branch->tally, branch->depth + 1 };
        assert_int_equal(pool_submit(branch->tally->pool, -branch->depth, grow_tree, &tree[child]), PASSEL_OK);
    }
}

static void tasks_submit_tasks(void **state)
{
    (void)state;
    struct tally tally = { .done = 0 };
    assert_int_equal(pool_new(4, &tally.pool, NULL), PASSEL_OK);
    tree[0] = (struct branch){ &tally, 0 };
    assert_int_equal(pool_submit(tally.pool, 0, grow_tree, &tree[0]), PASSEL_OK);
    pool_wait(tally.pool);
    assert_int_equal(atomic_load(&tally.done), 2047);
    pool_free(tally.pool);
}

static void set_rounding_up(void *data, int worker)
{
    (void)data, (void)worker;
    fesetround(FE_UPWARD);
}

static void keep_mode(void *data, int worker)
{
    (void)worker;
    int *mode = data;
    volatile float tiny = 1e-39f; /* a denormal: reads as 0 when they are flushed */
    *mode = fegetround() == FE_TONEAREST && tiny * 1.0f != 0.0f ? 1 : 0;
}

#if defined(__x86_64__)
#include <xmmintrin.h>
/* Flush denormal results, and read denormals as zero. */
static void set_flushing(void)
{
    _mm_setcsr(_mm_getcsr() | 0x8040u);
}

static void flush_denormals(void *data, int worker)
{
    (void)data, (void)worker;
    set_flushing();
}
#endif

static void every_task_gets_the_default_float_mode(void **state)
{
    (void)state;
    struct pool *pool;
    int modes[3] = { 0, 0, 0 };
    fenv_t before;
    fegetenv(&before);
    fesetround(FE_DOWNWARD);
#if defined(__x86_64__)
    set_flushing();
#endif
    const enum passel_status status = pool_new(1, &pool, NULL);
    fesetenv(&before);
    assert_int_equal(status, PASSEL_OK);
    pool_submit(pool, 0, keep_mode, &modes[0]);
    pool_submit(pool, 1, set_rounding_up, NULL);
    pool_submit(pool, 2, keep_mode, &modes[1]);
#if defined(__x86_64__)
    pool_submit(pool, 3, flush_denormals, NULL);
#endif
    pool_submit(pool, 4, keep_mode, &modes[2]);
    pool_free(pool);
    for (int i = 0; i < 3; i++)
        assert_int_equal(modes[i], 1);
}

static void keep_mask(void *data, int worker)
{
    (void)worker;
    pthread_sigmask(SIG_SETMASK, NULL, data);
}

static void workers_leave_signals_to_the_program(void **state)
{
    (void)state;
    struct pool *pool;
    sigset_t inside, outside;
    assert_int_equal(pool_new(1, &pool, NULL), PASSEL_OK);
    pool_submit(pool, 0, keep_mask, &inside);
    pool_free(pool);
    assert_int_equal(sigismember(&inside, SIGINT), 1);
    assert_int_equal(sigismember(&inside, SIGTERM), 1);
    assert_int_equal(sigismember(&inside, SIGSEGV), 0);
    pthread_sigmask(SIG_SETMASK, NULL, &outside);
    assert_int_equal(sigismember(&outside, SIGINT), 0);
}

static enum passel_status make_and_fill(void *data)
{
    (void)data;
    struct tally tally = { .done = 0 };
    struct passel_error error = { PASSEL_OK, "" };
    const enum passel_status made = pool_new(2, &tally.pool, &error);
    if (made != PASSEL_OK) {
        assert_null(tally.pool);
        assert_int_equal(error.status, made);
        return made;
    }
    enum passel_status status = PASSEL_OK;
    int queued = 0;
    for (int i = 0; i < 200; i++) {
        const enum passel_status one = pool_submit(tally.pool, i, count_one, &tally);
        queued += one == PASSEL_OK;
        status = one != PASSEL_OK ? one : status;
    }
    pool_free(tally.pool);
    assert_int_equal(atomic_load(&tally.done), queued);
    return status;
}

/* With two threads emptying the queue it may grow more than once or not, but its first block is always needed. */
static void failing_memory_drops_only_what_was_refused(void **state)
{
    (void)state;
    assert_true(fail_memory_each(make_and_fill, NULL) >= 3);
}

static int threads_to_start = -1; /* pthread_create fails after that many; -1: never */

int __real_pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*run)(void *), void *data);
int __wrap_pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*run)(void *), void *data);

int __wrap_pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*run)(void *), void *data)
{
    if (threads_to_start == 0)
        return 11; /* EAGAIN */
    if (threads_to_start > 0)
        threads_to_start--;
    return __real_pthread_create(thread, attributes, run, data);
}

static void threads_that_do_not_start(void **state)
{
    (void)state;
    for (int started = 0; started < 3; started++) {
        const long before = fail_memory_open();
        struct passel_error error = { PASSEL_OK, "" };
        struct pool *pool;
        threads_to_start = started;
        assert_int_equal(pool_new(3, &pool, &error), PASSEL_NO_MEMORY);
        threads_to_start = -1;
        assert_null(pool);
        assert_int_equal(error.status, PASSEL_NO_MEMORY);
        assert_int_equal(fail_memory_open(), before);
    }
}

static void machine_threads_follow_the_affinity(void **state)
{
    (void)state;
    cpu_set_t all, one;
    assert_int_equal(sched_getaffinity(0, sizeof all, &all), 0);
    assert_int_equal(machine_threads(), CPU_COUNT(&all));
    size_t first = 0;
    while (!CPU_ISSET(first, &all))
        first++;
    CPU_ZERO(&one);
    CPU_SET(first, &one);
    assert_int_equal(sched_setaffinity(0, sizeof one, &one), 0);
    assert_int_equal(machine_threads(), 1);
    assert_int_equal(sched_setaffinity(0, sizeof all, &all), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tasks_run_by_rank_then_submission),
        cmocka_unit_test(wait_sees_every_task_done),
        cmocka_unit_test(free_finishes_the_queue),
        cmocka_unit_test(tasks_submit_tasks),
        cmocka_unit_test(every_task_gets_the_default_float_mode),
        cmocka_unit_test(workers_leave_signals_to_the_program),
        cmocka_unit_test(failing_memory_drops_only_what_was_refused),
        cmocka_unit_test(threads_that_do_not_start),
        cmocka_unit_test(machine_threads_follow_the_affinity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

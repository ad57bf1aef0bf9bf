/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One frame being made. A job is a small stack of steps (find something out, store a whole picture, make the frame);
 * each step runs as one or many tasks of the pool, and whoever finishes the last task goes on with the next step. No
 * task ever waits: a job that needs what another one is making is parked and woken.
 */
#ifndef ENGINE_JOB_H
#define ENGINE_JOB_H

#include <passel/error.h>
#include <pthread.h>
#include <stdatomic.h>

#include "base/pool.h"
#include "engine/deliver.h"
#include "engine/plan.h"
#include "engine/scratch.h"
#include "engine/store.h"

/* What all jobs of one render share. */
struct workshop {
    const struct graph *graph;
    struct pool *pool;
    struct scratch *scratch; /* per worker */
    int threads;
    const volatile int *stop; /* or NULL */
    pthread_mutex_t lock;     /* guards the store, the jobs' waiting lists and `over` */
    pthread_cond_t ended;     /* a job has ended and is in `over` */
    struct store store;
    struct job *over; /* jobs that have ended, for the owner to take; linked by next_waiting */
};

enum step_kind { STEP_ANALYSE, STEP_FEED, STEP_FOUND, STEP_STORE, STEP_FRAME };

struct step {
    enum step_kind kind;
    int node;
    enum form form;        /* STEP_STORE */
    int round;             /* STEP_FEED */
    struct stored *stored; /* claimed, or waited for */
    bool claimed;
    bool replaceable; /* STEP_STORE: when its file is damaged, the job goes on without it */
    void *work; /* STEP_FOUND: what the analysis has gathered */
};

struct strip_task {
    struct job *job;
    int32_t y0, y1;
};

struct job {
    struct workshop *workshop;
    int64_t rank;
    struct plan *plan;
    int *roots;       /* nodes of all pictures that are wanted, outputs one after another */
    unsigned *planes; /* per root */
    int root_count;
    struct delivery *deliveries; /* those that have to be made */
    int *first_root;             /* per delivery: where its roots begin */
    int delivery_count;
    struct picture *grab; /* instead of deliveries: root 0 goes here */
    size_t reserved;      /* memory that was set aside for it */

    struct step *steps; /* the last one is on top */
    int step_count, step_room;
    struct strip_task *tasks;
    int task_room;
    atomic_int remaining; /* tasks of the running step */
    atomic_bool failed;
    struct job *next_waiting;
    enum passel_status status;
    struct passel_error error;
    void *user; /* the owner's */
};

/* True when the caller asked to stop, from whatever thread or signal handler; `stop` may be NULL. */
bool stop_asked(const volatile int *stop);

/* Makes a job ready; plan, roots, planes and deliveries have been set. */
enum passel_status job_begin(struct job *job, struct passel_error *error);
/* Hands it to the pool. From here on it belongs to the workshop until it is in workshop.over. */
void job_start(struct job *job);
/* Closes the plan and gives everything of the job back but the struct. Not under the lock. */
void job_release(struct job *job, struct text *notes);
/* Gives its references to the store back; under the lock. */
void job_let_go(struct job *job);

#endif

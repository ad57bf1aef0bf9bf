/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/job.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/evaluate.h"
#include "kinds/shot.h"

enum progress {
    PROGRESS_DONE,    /* the step is over */
    PROGRESS_PUSHED,  /* other steps come first */
    PROGRESS_RUNNING, /* tasks are on their way */
    PROGRESS_PARKED   /* another job is making what is needed */
};

static void advance(struct job *job);

/* ---- failing ----------------------------------------------------------------------------------------------------- */

/* Remembers the first failure of a job. Safe from any thread. */
static void job_fail(struct job *job, enum passel_status status, const struct passel_error *error)
{
    pthread_mutex_lock(&job->workshop->lock);
    if (job->status == PASSEL_OK) {
        job->status = status;
        (void)error_set(&job->error, status, "%s", error->text);
    }
    atomic_store(&job->failed, true);
    pthread_mutex_unlock(&job->workshop->lock);
}

bool stop_asked(const volatile int *stop)
{
    return stop != NULL && __atomic_load_n(stop, __ATOMIC_RELAXED) != 0;
}

static bool job_over(struct job *job)
{
    if (stop_asked(job->workshop->stop) && !atomic_load(&job->failed)) {
        struct passel_error error;
        job_fail(job, error_set(&error, PASSEL_STOPPED, "stopped"), &error);
    }
    return atomic_load(&job->failed);
}

/* ---- steps ------------------------------------------------------------------------------------------------------- */

static bool push(struct job *job, struct step step)
{
    if (job->step_count == job->step_room) {
        const int room = job->step_room == 0 ? 16 : job->step_room * 2;
        struct step *steps = memory_grow(job->steps, (size_t)job->step_room, (size_t)room, sizeof *steps);
        if (steps == NULL) {
            struct passel_error error;
            job_fail(job, error_set(&error, PASSEL_NO_MEMORY, "out of memory"), &error);
            return false;
        }
        job->steps = steps;
        job->step_room = room;
    }
    job->steps[job->step_count++] = step;
    return true;
}

static struct step *top(struct job *job)
{
    return &job->steps[job->step_count - 1];
}

/* Wakes those who wait for a result; under the lock, which their going on needs: so they go through the pool. */
static void wake_task(void *data, int worker)
{
    (void)worker;
    advance(data);
}

static void settle(struct job *job, struct stored *stored, enum stored_state state)
{
    struct workshop *workshop = job->workshop;
    pthread_mutex_lock(&workshop->lock);
    stored->state = state;
    struct job *waiting = stored->waiting;
    stored->waiting = NULL;
    pthread_mutex_unlock(&workshop->lock);
    while (waiting != NULL) {
        struct job *next = waiting->next_waiting;
        waiting->next_waiting = NULL;
        if (pool_submit(workshop->pool, waiting->rank, wake_task, waiting) != PASSEL_OK)
            advance(waiting);
        waiting = next;
    }
}

/* A result by its key: READY (referenced in step->stored), claimed for this job to make, or parked. */
enum found { FOUND_READY, FOUND_CLAIMED, FOUND_PARKED, FOUND_NO_MEMORY };

static enum found find_or_claim(struct job *job, struct step *step, XXH128_hash_t key, bool keep)
{
    struct workshop *workshop = job->workshop;
    enum found found = FOUND_READY;
    pthread_mutex_lock(&workshop->lock);
    if (step->stored != NULL && step->stored->state == STORED_FAILED) {
        store_unref(&workshop->store, step->stored);
        step->stored = NULL;
    }
    if (step->stored == NULL)
        step->stored = store_find(&workshop->store, key);
    if (step->stored == NULL) {
        step->stored = store_claim(&workshop->store, key, keep);
        step->claimed = step->stored != NULL;
        found = step->claimed ? FOUND_CLAIMED : FOUND_NO_MEMORY;
    } else if (step->stored->state == STORED_MAKING) {
        job->next_waiting = step->stored->waiting;
        step->stored->waiting = job;
        found = FOUND_PARKED;
    }
    pthread_mutex_unlock(&workshop->lock);
    if (found == FOUND_NO_MEMORY) {
        struct passel_error error;
        job_fail(job, error_set(&error, PASSEL_NO_MEMORY, "out of memory"), &error);
    }
    return found;
}

/* True when this job is to make the result. Else *otherwise says how it goes on; a result that is there is in *held. */
static bool must_make(struct job *job, struct step *step, XXH128_hash_t key, bool keep, struct stored **held,
                      enum progress *otherwise)
{
    const enum found found = find_or_claim(job, step, key, keep);
    *otherwise = found == FOUND_PARKED ? PROGRESS_PARKED : PROGRESS_DONE;
    if (found == FOUND_READY) {
        *held = step->stored;
        step->stored = NULL;
    }
    return found == FOUND_CLAIMED;
}

/* ---- tasks ------------------------------------------------------------------------------------------------------- */

static void tasks_done(struct job *job);

static void task_ended(struct job *job)
{
    if (atomic_fetch_sub(&job->remaining, 1) == 1)
        tasks_done(job);
}

/* Cuts y0 … y1 into tasks of `rows` (from y0 on) and submits them. False when the job has failed for want of memory. */
static bool submit_strips(struct job *job, int32_t y0, int32_t y1, int32_t rows, task_function *run)
{
    const int count = (y1 - y0 + rows - 1) / rows;
    struct passel_error error;
    if (count > job->task_room) {
        memory_free(job->tasks);
        job->tasks = memory_zeros((size_t)count, sizeof *job->tasks);
        job->task_room = job->tasks != NULL ? count : 0;
        if (job->tasks == NULL) {
            job_fail(job, error_set(&error, PASSEL_NO_MEMORY, "out of memory"), &error);
            return false;
        }
    }
    atomic_store(&job->remaining, count + 1); /* one for this call: no task may end the step before all are out */
    for (int i = 0; i < count; i++) {
        const int32_t begin = y0 + i * rows;
        job->tasks[i] = (struct strip_task){ job, begin, begin + rows < y1 ? begin + rows : y1 };
        const enum passel_status status = pool_submit(job->workshop->pool, job->rank, run, &job->tasks[i]);
        if (status != PASSEL_OK) {
            job_fail(job, error_set(&error, status, "out of memory"), &error);
            task_ended(job);
        }
    }
    task_ended(job);
    return true;
}

static enum passel_status store_strip(struct strip_task *task, struct scratch *scratch, struct passel_error *error)
{
    struct job *job = task->job;
    const struct step *step = top(job);
    const struct node *node = &job->plan->nodes[step->node];
    struct rect area = step->stored->picture.area;
    area.y0 = task->y0;
    area.y1 = task->y1;
    const struct picture part = picture_part(&step->stored->picture, area);
    if (node->held[FORM_PLAIN] != NULL) {
        picture_copy(&part, &node->held[FORM_PLAIN]->picture);
        return PASSEL_OK;
    }
    return evaluate_into(job->plan, step->node, &part, scratch, error);
}

static enum passel_status frame_strip(struct strip_task *task, struct scratch *scratch, struct passel_error *error)
{
    struct job *job = task->job;
    struct rect area =
        job->grab != NULL ? job->grab->area : shot_window(&job->plan->graph->shot, job->plan->graph->scale);
    area.y0 = task->y0;
    area.y1 = task->y1;
    struct picture pictures[ASK_LIMIT];
    RETURN_IF_ERROR(evaluate_area(job->plan, job->roots, job->planes, job->root_count, area, pictures, scratch, error));
    if (job->grab != NULL)
        picture_copy(job->grab, &pictures[0]);
    for (int i = 0; i < job->delivery_count; i++)
        RETURN_IF_ERROR(delivery_write(&job->deliveries[i], &job->plan->graph->shot, &pictures[job->first_root[i]],
                                       scratch, error));
    return PASSEL_OK;
}

static enum passel_status feed(struct job *job, struct scratch *scratch, struct passel_error *error)
{
    const struct step *step = top(job);
    struct step *gather = NULL;
    for (int i = job->step_count - 1; gather == NULL; i--) {
        if (job->steps[i].kind == STEP_FOUND && job->steps[i].node == step->node)
            gather = &job->steps[i];
    }
    const struct node *node = &job->plan->nodes[step->node];
    scratch_reset(scratch);
    struct picture *pictures = scratch_take(scratch, (size_t)node->looks.count * sizeof *pictures);
    struct picture_info *infos = scratch_take(scratch, (size_t)node->looks.count * sizeof *infos);
    if (pictures == NULL || infos == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    int count = 0;
    for (int i = 0; i < node->looks.count; i++) {
        const struct ask *look = &node->looks.asks[i];
        if (look->round != step->round)
            continue;
        const struct node *looked = &job->plan->nodes[node->looked[i]];
        const unsigned planes = (look->planes & PLANES_AS_WANTED) != 0 ? looked->info.planes : look->planes & HAS_RGBA;
        infos[count] = looked->info;
        RETURN_IF_ERROR(deliver(&looked->held[FORM_PLAIN]->picture, &looked->info, looked->info.data, planes,
                                look->border, &pictures[count++], scratch, error));
    }
    return node->kind->analysis->add(&node->at, step->round, pictures, infos, count, &gather->work, error);
}

static enum passel_status find_out(struct job *job, struct scratch *scratch, struct passel_error *error)
{
    (void)scratch;
    struct step *step = top(job);
    const struct node *node = &job->plan->nodes[step->node];
    const struct analysis *analysis = node->kind->analysis;
    size_t bytes = 0;
    step->stored->drop_found = analysis->drop_found;
    RETURN_IF_ERROR(analysis->finish(&node->at, step->work, &step->stored->found, &bytes, error));
    pthread_mutex_lock(&job->workshop->lock);
    store_account(&job->workshop->store, step->stored, bytes);
    pthread_mutex_unlock(&job->workshop->lock);
    return PASSEL_OK;
}

static void run_task(void *data, int worker)
{
    struct strip_task *task = data;
    struct job *job = task->job;
    struct scratch *scratch = &job->workshop->scratch[worker];
    if (!job_over(job)) {
        struct passel_error error = { 0 };
        enum passel_status status = PASSEL_OK;
        switch (top(job)->kind) {
        case STEP_STORE:
            status = store_strip(task, scratch, &error);
            break;
        case STEP_FEED:
            status = feed(job, scratch, &error);
            break;
        case STEP_FOUND:
            status = find_out(job, scratch, &error);
            break;
        default:
            status = frame_strip(task, scratch, &error);
            break;
        }
        arena_release(&scratch->arena);
        if (status != PASSEL_OK)
            job_fail(job, status, &error);
    }
    task_ended(job);
}

/* ---- what has to be stored first --------------------------------------------------------------------------------- */

/* Pushes a step for every picture below `node` that has to be stored and is not yet. The geometry of all nodes on the
 * way is found out. */
static enum passel_status push_stores(struct job *job, int node, int *pushed, struct passel_error *error)
{
    struct plan *plan = job->plan;
    bool *seen = memory_zeros((size_t)node + 1, sizeof *seen);
    enum passel_status status = PASSEL_OK;
    if (seen == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    seen[node] = true;
    for (int n = node; n >= 0; n--) { /* inputs have lower numbers than their consumers */
        if (!seen[n])
            continue;
        if (plan->nodes[n].kind->geometric)
            GOTO_IF_ERROR(plan_resolve(plan, n, error), out_seen);
        for (int k = 0; k < plan->nodes[n].asks.count; k++) {
            if (plan_ask_planes(&plan->nodes[n], &plan->nodes[n].asks.asks[k]) == 0)
                continue;
            int input;
            const enum reading reading = evaluate_reading(plan, n, k, &input);
            const enum form form = reading == READING_SPLINE ? FORM_SPLINE : FORM_PLAIN;
            if (reading == READING_STREAMED)
                seen[input] = true;
            else if (plan->nodes[input].held[form] == NULL) {
                if (!push(job, (struct step){ .kind = STEP_STORE, .node = input, .form = form })) {
                    status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
                    goto out_seen;
                }
                (*pushed)++;
            }
        }
    }
out_seen:
    memory_free(seen);
    return status;
}

/* ---- the steps' beginnings --------------------------------------------------------------------------------------- */

static enum progress failed_with(struct job *job, enum passel_status status, const struct passel_error *error)
{
    job_fail(job, status, error);
    return PROGRESS_DONE;
}

static enum progress begin_analyse(struct job *job)
{
    const int n = top(job)->node;
    struct node *node = &job->plan->nodes[n];
    if (node->wanted == 0 || node->looks.count == 0)
        return PROGRESS_DONE;
    struct step *step = top(job);
    enum progress otherwise;
    if (!must_make(job, step, node->look_digest, true, &node->found, &otherwise)) {
        if (otherwise == PROGRESS_DONE && node->found != NULL) /* a parked job may be gone already */
            node->at.found = node->found->found;
        return otherwise;
    }
    /* This step becomes the one that finishes; the rounds come before it, the first on top. */
    step->kind = STEP_FOUND;
    int last = 0;
    for (int i = 0; i < node->looks.count; i++)
        last = node->looks.asks[i].round > last ? node->looks.asks[i].round : last;
    for (int round = last; round >= 0; round--) {
        if (!push(job, (struct step){ .kind = STEP_FEED, .node = n, .round = round }))
            return PROGRESS_DONE;
    }
    return PROGRESS_PUSHED;
}

static enum progress begin_feed(struct job *job)
{
    const struct step step = *top(job);
    struct node *node = &job->plan->nodes[step.node];
    int pushed = 0;
    for (int i = 0; i < node->looks.count; i++) {
        const struct ask *look = &node->looks.asks[i];
        if (look->round != step.round)
            continue;
        const bool lost = job->plan->nodes[node->looked[i]].lost;
        const bool replaced = lost && plan_replace_look(job->plan, node, i);
        if (job->plan->nodes[node->looked[i]].held[FORM_PLAIN] != NULL)
            continue;
        if (!push(job, (struct step){ .kind = STEP_STORE,
                                      .node = node->looked[i],
                                      .form = FORM_PLAIN,
                                      .replaceable = look->replaceable && (!lost || replaced) }))
            return PROGRESS_DONE;
        pushed++;
    }
    if (pushed > 0)
        return PROGRESS_PUSHED;
    return submit_strips(job, 0, 1, 1, run_task) ? PROGRESS_RUNNING : PROGRESS_DONE;
}

static enum progress begin_found(struct job *job)
{
    return submit_strips(job, 0, 1, 1, run_task) ? PROGRESS_RUNNING : PROGRESS_DONE;
}

/* Allocates the picture that a claimed entry will hold. */
static enum passel_status prepare_stored(struct job *job, const struct node *node, struct stored *stored,
                                         struct passel_error *error)
{
    const unsigned planes = plan_made_planes(node, node->wanted);
    pthread_mutex_lock(&job->workshop->lock);
    store_account(&job->workshop->store, stored, picture_bytes(node->info.data, planes));
    pthread_mutex_unlock(&job->workshop->lock);
    return picture_new(&stored->picture, node->info.data, planes, error);
}

static enum progress begin_store(struct job *job)
{
    const struct step want = *top(job);
    struct node *node = &job->plan->nodes[want.node];
    struct passel_error error = { 0 };
    if (node->held[want.form] != NULL)
        return PROGRESS_DONE;
    int pushed = 0;
    enum passel_status status = PASSEL_OK;
    if (want.stored == NULL && node->held[FORM_PLAIN] == NULL)
        status = push_stores(job, want.node, &pushed, &error);
    if (status != PASSEL_OK)
        return failed_with(job, status, &error);
    if (pushed > 0)
        return PROGRESS_PUSHED;
    struct step *step = top(job);
    const XXH128_hash_t key = store_key(node->digest, want.form, plan_made_planes(node, node->wanted), node->info.data);
    enum progress otherwise;
    if (!must_make(job, step, key, node->shared, &node->held[want.form], &otherwise))
        return otherwise;
    const struct rect data = node->info.data;
    if (!rect_empty(data))
        status = prepare_stored(job, node, step->stored, &error);
    if (status != PASSEL_OK)
        return failed_with(job, status, &error);
    if (rect_empty(data)) {
        node->held[want.form] = step->stored;
        step->stored = NULL;
        settle(job, node->held[want.form], STORED_READY);
        return PROGRESS_DONE;
    }
    const int32_t rows = node->info.whole ? rect_height(data) : job->plan->strip_rows;
    return submit_strips(job, data.y0, data.y1, rows, run_task) ? PROGRESS_RUNNING : PROGRESS_DONE;
}

static int32_t common_multiple(int32_t a, int32_t b)
{
    int32_t x = a, y = b;
    while (y != 0) {
        const int32_t rest = x % y;
        x = y;
        y = rest;
    }
    return a / x * b;
}

static enum progress begin_frame(struct job *job)
{
    struct plan *plan = job->plan;
    struct passel_error error = { 0 };
    enum passel_status status = PASSEL_OK;
    int pushed = 0;
    for (int i = 0; i < job->root_count && status == PASSEL_OK; i++) {
        struct node *root = &plan->nodes[job->roots[i]];
        if (root->held[FORM_PLAIN] != NULL)
            continue;
        if (root->info.whole || root->shared) {
            if (push(job, (struct step){ .kind = STEP_STORE, .node = job->roots[i], .form = FORM_PLAIN }))
                pushed++;
        } else {
            status = push_stores(job, job->roots[i], &pushed, &error);
        }
    }
    if (status != PASSEL_OK)
        return failed_with(job, status, &error);
    if (pushed > 0)
        return PROGRESS_PUSHED;
    if (atomic_load(&job->failed))
        return PROGRESS_DONE;
    int32_t rows = plan->strip_rows;
    for (int i = 0; i < job->delivery_count && status == PASSEL_OK; i++) {
        status = delivery_open(&job->deliveries[i], plan, &error);
        if (status == PASSEL_OK)
            rows = common_multiple(rows, media_writer_rows(job->deliveries[i].writer));
    }
    if (status != PASSEL_OK)
        return failed_with(job, status, &error);
    const struct rect window =
        job->grab != NULL ? job->grab->area : shot_window(&plan->graph->shot, plan->graph->scale);
    return submit_strips(job, window.y0, window.y1, rows, run_task) ? PROGRESS_RUNNING : PROGRESS_DONE;
}

/* ---- the steps' ends --------------------------------------------------------------------------------------------- */

static enum passel_status end_store(struct job *job, const struct step *step, struct passel_error *error)
{
    if (step->form == FORM_SPLINE)
        RETURN_IF_ERROR(spline_prepare(&step->stored->picture, error));
    job->plan->nodes[step->node].held[step->form] = step->stored;
    settle(job, step->stored, STORED_READY);
    return PASSEL_OK;
}

/* The pictures of a round have served. */
static void end_feed(struct job *job, const struct step *step)
{
    const struct node *node = &job->plan->nodes[step->node];
    pthread_mutex_lock(&job->workshop->lock);
    for (int i = 0; i < node->looks.count; i++) {
        struct node *looked = &job->plan->nodes[node->looked[i]];
        if (node->looks.asks[i].round != step->round)
            continue;
        store_unref(&job->workshop->store, looked->held[FORM_PLAIN]);
        looked->held[FORM_PLAIN] = NULL;
    }
    pthread_mutex_unlock(&job->workshop->lock);
}

static void end_found(struct job *job, const struct step *step)
{
    struct node *node = &job->plan->nodes[step->node];
    node->kind->analysis->drop_work(step->work);
    node->found = step->stored;
    node->at.found = step->stored->found;
    settle(job, step->stored, STORED_READY);
}

static enum passel_status end_frame(struct job *job, struct passel_error *error)
{
    enum passel_status status = job->delivery_count > 0 ? plan_check_files(job->plan, error) : PASSEL_OK;
    for (int i = 0; i < job->delivery_count && status == PASSEL_OK; i++)
        status = delivery_keep(&job->deliveries[i], error);
    return status;
}

static void tasks_done(struct job *job)
{
    struct step *step = top(job);
    struct passel_error error = { 0 };
    enum passel_status status = PASSEL_OK;
    if (!atomic_load(&job->failed)) {
        switch (step->kind) {
        case STEP_STORE:
            status = end_store(job, step, &error);
            break;
        case STEP_FEED:
            end_feed(job, step);
            break;
        case STEP_FOUND:
            end_found(job, step);
            break;
        default:
            status = end_frame(job, &error);
            break;
        }
        if (status == PASSEL_OK)
            job->step_count--;
        else
            job_fail(job, status, &error);
    }
    advance(job);
}

/* Lets go of everything that the unfinished steps from number `first` on hold. */
static void abandon_steps(struct job *job, int first)
{
    while (job->step_count > first) {
        struct step *step = top(job);
        if (step->kind == STEP_FOUND)
            job->plan->nodes[step->node].kind->analysis->drop_work(step->work);
        if (step->stored != NULL) {
            if (step->claimed)
                settle(job, step->stored, STORED_FAILED);
            pthread_mutex_lock(&job->workshop->lock);
            store_unref(&job->workshop->store, step->stored);
            pthread_mutex_unlock(&job->workshop->lock);
        }
        job->step_count--;
    }
}

/* When a file was damaged that only an analysis wanted to look at, and another can stand in: the failure is taken back
 * and the picture is lost. No task is running. */
static bool recover(struct job *job)
{
    int n = job->step_count - 1;
    if (!status_of_file(job->status))
        return false;
    while (n >= 0 && !(job->steps[n].kind == STEP_STORE && job->steps[n].replaceable))
        n--;
    if (n < 0)
        return false;
    job->plan->nodes[job->steps[n].node].lost = true;
    abandon_steps(job, n);
    pthread_mutex_lock(&job->workshop->lock);
    job->status = PASSEL_OK;
    atomic_store(&job->failed, false);
    pthread_mutex_unlock(&job->workshop->lock);
    return true;
}

static void job_end(struct job *job)
{
    struct workshop *workshop = job->workshop;
    abandon_steps(job, 0);
    pthread_mutex_lock(&workshop->lock);
    job->next_waiting = workshop->over;
    workshop->over = job;
    pthread_cond_signal(&workshop->ended);
    pthread_mutex_unlock(&workshop->lock);
}

/* Goes on with the step on top until tasks are on their way, or nothing is left. The job may be gone on return. */
static void advance(struct job *job)
{
    static enum progress (*const begin[])(struct job * job) = {
        [STEP_ANALYSE] = begin_analyse, [STEP_FEED] = begin_feed,   [STEP_FOUND] = begin_found,
        [STEP_STORE] = begin_store,     [STEP_FRAME] = begin_frame,
    };
    while (job->step_count > 0 &&
           (!job_over(job) || recover(job))) { /* a frame that is there is done, whoever says stop now */
        switch (begin[top(job)->kind](job)) {
        case PROGRESS_DONE:
            if (!atomic_load(&job->failed))
                job->step_count--;
            break;
        case PROGRESS_PUSHED:
            break;
        default:
            return;
        }
    }
    job_end(job);
}

/* ---- from outside ------------------------------------------------------------------------------------------------ */

enum passel_status job_begin(struct job *job, struct passel_error *error)
{
    plan_want(job->plan, job->roots, job->planes, job->root_count);
    job->plan->strip_rows = 16;
    for (int i = 0; i < job->plan->count; i++) {
        const struct node *node = &job->plan->nodes[i];
        const int wish = node->info.chunk_rows > node->info.strip_rows ? node->info.chunk_rows : node->info.strip_rows;
        if (node->wanted != 0 && !node->info.whole && wish > job->plan->strip_rows)
            job->plan->strip_rows = wish < 256 ? wish : 256;
    }
    bool pushed = push(job, (struct step){ .kind = STEP_FRAME });
    for (int n = job->plan->count - 1; n >= 0 && pushed; n--) {
        if (job->plan->nodes[n].looks.count > 0)
            pushed = push(job, (struct step){ .kind = STEP_ANALYSE, .node = n });
    }
    return pushed ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

void job_start(struct job *job)
{
    if (pool_submit(job->workshop->pool, job->rank, wake_task, job) != PASSEL_OK)
        advance(job);
}

void job_let_go(struct job *job)
{
    for (int n = 0; job->plan != NULL && n < job->plan->count; n++) {
        struct node *node = &job->plan->nodes[n];
        for (int form = 0; form < FORM_COUNT; form++) {
            store_unref(&job->workshop->store, node->held[form]);
            node->held[form] = NULL;
        }
        store_unref(&job->workshop->store, node->found);
        node->found = NULL;
    }
}

void job_release(struct job *job, struct text *notes)
{
    for (int i = 0; i < job->delivery_count; i++)
        delivery_release(&job->deliveries[i]);
    plan_free(job->plan, notes);
    memory_free(job->roots);
    memory_free(job->planes);
    memory_free(job->deliveries);
    memory_free(job->first_root);
    memory_free(job->steps);
    memory_free(job->tasks);
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Rendering a range: frames are planned in order on the caller's thread, admitted as memory allows, and made by the
 * pool. A frame that fails does not stop the others.
 */
#include "engine/render.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/job.h"
#include "kinds/shot.h"
#include "numerics/flash_watch.h"

/* The digests of a plan, sorted, to find what two frames have in common. */
struct digests {
    XXH128_hash_t *all;
    int count;
};

struct render {
    struct workshop workshop;
    const struct passel_render_options *options;
    const struct output **outputs;
    struct flash_watch **watches; /* per output; NULL where nobody watches */
    int output_count;
    const int32_t *frames;
    int frame_count;
    size_t memory;
    size_t reserved; /* by the jobs in flight */
    int in_flight;
    struct passel_render_result result;
    enum passel_status first_status;
    struct passel_error *error;
    struct timespec begin;
    bool said_budget;
};

/* ---- events ----------------------------------------------------------------------------------------------------------- */

static double seconds_since(const struct timespec *begin)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - begin->tv_sec) + (double)(now.tv_nsec - begin->tv_nsec) * 1e-9;
}

static void tell(struct render *render, enum passel_event_kind kind, int32_t frame, const char *text)
{
    struct passel_render_result *result = &render->result;
    if (kind == PASSEL_FRAME_DONE)
        result->made++;
    else if (kind == PASSEL_FRAME_FRESH)
        result->fresh++;
    else if (kind == PASSEL_FRAME_FAILED)
        result->failed++;
    result->seconds = seconds_since(&render->begin);
    if (render->options->event == NULL)
        return;
    const struct passel_event event = { .kind = kind,
                                        .frame = frame,
                                        .done = result->made + result->fresh + result->failed,
                                        .total = result->total,
                                        .seconds = result->seconds,
                                        .text = text };
    render->options->event(render->options->user, &event);
}

static void tell_notes(struct render *render, int32_t frame, struct text *notes)
{
    for (char *line = notes->bytes; line != NULL && *line != '\0';) {
        char *end = strchr(line, '\n');
        if (end != NULL)
            *end = '\0';
        tell(render, PASSEL_WARNING, frame, line);
        line = end != NULL ? end + 1 : NULL;
    }
    text_release(notes);
}

static void failed(struct render *render, int32_t frame, enum passel_status status, const struct passel_error *error)
{
    if (status == PASSEL_STOPPED) {
        render->first_status = status;
        return;
    }
    if (render->first_status == PASSEL_OK) {
        render->first_status = status;
        (void)error_set(render->error, status, "frame %d: %s", (int)frame, error->text);
    }
    tell(render, PASSEL_FRAME_FAILED, frame, error->text);
}

static bool stopped(const struct render *render)
{
    return stop_asked(render->options->stop);
}

/* ---- what frames have in common ------------------------------------------------------------------------------------------ */

static int compare_digests(const void *a, const void *b)
{
    return XXH128_cmp(a, b);
}

static void digests_take(struct digests *digests, const struct plan *plan)
{
    memory_free(digests->all);
    *digests = (struct digests){ 0 };
    if (plan == NULL)
        return;
    digests->all = memory_new((size_t)plan->count * sizeof *digests->all);
    if (digests->all == NULL)
        return; /* nothing is known to be shared: slower, not wrong */
    digests->count = plan->count;
    for (int i = 0; i < plan->count; i++)
        digests->all[i] = plan->nodes[i].digest;
    qsort(digests->all, (size_t)plan->count, sizeof *digests->all, compare_digests);
}

static bool digests_have(const struct digests *digests, XXH128_hash_t digest)
{
    return digests->all != NULL &&
           bsearch(&digest, digests->all, (size_t)digests->count, sizeof digest, compare_digests) != NULL;
}

/* Marks what a neighbouring frame shows too, when it is small enough to be worth keeping. */
static void mark_shared(const struct render *render, struct plan *plan, const struct digests *before,
                        const struct digests *after)
{
    for (int i = 0; i < plan->count; i++) {
        struct node *node = &plan->nodes[i];
        const size_t bytes = picture_bytes(node->info.data, node->info.planes);
        node->shared = bytes < render->memory / 8 &&
                       (digests_have(before, node->digest) || digests_have(after, node->digest));
    }
}

/* ---- flashes ------------------------------------------------------------------------------------------------------ */

/* The same picture in several files is watched once. */
static bool seen_before(const struct render *render, int output)
{
    const struct value *own = render->outputs[output]->pictures[0].value;
    for (int i = 0; i < output; i++) {
        const struct value *other = render->outputs[i]->pictures[0].value;
        if (other->block == own->block && other->picture == own->picture)
            return true;
    }
    return false;
}

static enum passel_status watches_open(struct render *render, const struct shot *shot, struct passel_error *error)
{
    render->watches = memory_zeros((size_t)render->output_count, sizeof(*render->watches));
    if (render->watches == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < render->output_count; i++) {
        if (!seen_before(render, i))
            RETURN_IF_ERROR(flash_watch_new(render->frames, render->frame_count, shot->rate, FLASH_AREA,
                                            &render->watches[i], error));
    }
    return PASSEL_OK;
}

static void watches_close(struct render *render)
{
    for (int i = 0; i < render->output_count && render->watches != NULL; i++)
        flash_watch_free(render->watches[i]);
    memory_free(render->watches);
}

/* What a frame shows: of each output that was made now; of the others it is not known. */
static void watch_frame(struct render *render, int index, const struct job *job)
{
    for (int i = 0; i < render->output_count; i++) {
        const struct flash_view *view = NULL;
        for (int k = 0; job != NULL && job->status == PASSEL_OK && k < job->delivery_count; k++) {
            if (job->deliveries[k].output == render->outputs[i])
                view = job->deliveries[k].view;
        }
        if (render->watches[i] != NULL)
            flash_watch_put(render->watches[i], index, view != NULL ? flash_view_grid(view) : NULL);
    }
}

static void tell_flashes(struct render *render)
{
    for (int i = 0; i < render->output_count; i++) {
        int count = 0;
        const struct flash_stretch *stretches =
            render->watches[i] != NULL ? flash_watch_stretches(render->watches[i], &count) : NULL;
        for (int k = 0; k < count; k++) {
            char text[240];
            (void)snprintf(text, sizeof text,
                           "%s flashes%s more than three times in a second over %.0f %% of the picture, frames %d to "
                           "%d; that can harm sensitive viewers, see docs/flashing.md",
                           render->outputs[i]->pictures[0].value->text,
                           stretches[k].kind == FLASH_RED ? " in saturated red" : "", stretches[k].share * 100,
                           (int)stretches[k].first, (int)stretches[k].last);
            tell(render, PASSEL_WARNING, stretches[k].first, text);
        }
    }
}

/* ---- jobs -------------------------------------------------------------------------------------------------------------------- */

static void job_free(struct job *job, struct text *notes)
{
    if (job == NULL)
        return;
    job_release(job, notes);
    memory_free(job);
}

static enum passel_status job_arrays(struct render *render, struct job *job, const struct value ***values,
                                     struct passel_error *error)
{
    int roots = 0;
    for (int i = 0; i < render->output_count; i++)
        roots += render->outputs[i]->picture_count;
    if (roots > ASK_LIMIT)
        return error_set(error, PASSEL_UNSUPPORTED, "more than %d pictures are written at once", ASK_LIMIT);
    const size_t count = (size_t)render->output_count;
    job->roots = memory_zeros((size_t)roots, sizeof *job->roots);
    job->planes = memory_zeros((size_t)roots, sizeof *job->planes);
    job->deliveries = memory_zeros(count, sizeof *job->deliveries);
    job->first_root = memory_zeros(count, sizeof *job->first_root);
    *values = memory_zeros((size_t)roots, sizeof **values);
    if (job->roots == NULL || job->planes == NULL || job->deliveries == NULL || job->first_root == NULL ||
        *values == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < render->output_count; i++) {
        for (int k = 0; k < render->outputs[i]->picture_count; k++)
            (*values)[job->root_count++] = render->outputs[i]->pictures[k].value;
    }
    return PASSEL_OK;
}

/* Keeps only the outputs that have to be made; their roots move together. */
static enum passel_status job_deliveries(struct render *render, struct job *job, struct passel_error *error)
{
    int from = 0, to = 0;
    for (int i = 0; i < render->output_count; i++) {
        const int count = render->outputs[i]->picture_count;
        struct delivery *delivery = &job->deliveries[job->delivery_count];
        RETURN_IF_ERROR(delivery_plan(delivery, render->outputs[i], job->plan, &job->roots[from], error));
        if (!render->options->again && delivery_fresh(delivery, job->plan)) {
            delivery_release(delivery);
        } else {
            job->first_root[job->delivery_count++] = to;
            for (int k = 0; k < count; k++, to++) {
                job->roots[to] = job->roots[from + k];
                job->planes[to] = job->plan->nodes[job->roots[to]].info.planes;
            }
        }
        from += count;
    }
    job->root_count = to;
    return PASSEL_OK;
}

/* Plans one frame. *made is NULL when nothing has to be done or the frame cannot be made; both have been told. */
static void plan_job(struct render *render, int index, struct job **made)
{
    struct passel_error error = { 0 };
    const struct value **values = NULL;
    const struct graph *graph = render->workshop.graph;
    const struct shot *shot = &graph->shot;
    const int32_t frame = render->frames[index];
    struct job *job = memory_zeros(1, sizeof *job);
    enum passel_status status;
    *made = NULL;
    if (job == NULL) {
        failed(render, frame, error_set(&error, PASSEL_NO_MEMORY, "out of memory"), &error);
        return;
    }
    job->workshop = &render->workshop;
    job->rank = index;
    GOTO_IF_ERROR(job_arrays(render, job, &values, &error), out_job);
    GOTO_IF_ERROR(plan_new(graph, frame, values, job->root_count, job->roots, &job->plan, &error), out_job);
    GOTO_IF_ERROR(job_deliveries(render, job, &error), out_job);
    for (int i = 0; i < job->delivery_count; i++)
        job->deliveries[i].view = flash_view_new(shot_window(shot, graph->scale), &shot->primaries);
    if (job->delivery_count > 0)
        *made = job;
out_job:
    memory_free(values);
    if (status != PASSEL_OK)
        failed(render, frame, status, &error);
    else if (*made == NULL)
        tell(render, PASSEL_FRAME_FRESH, frame, "");
    if (*made == NULL) {
        watch_frame(render, index, NULL);
        job_free(job, NULL);
    }
}

/* About how much memory a job's own stored pictures take. */
static size_t job_need(const struct job *job)
{
    size_t need = 0;
    for (int n = 0; n < job->plan->count; n++) {
        const struct node *node = &job->plan->nodes[n];
        bool stored = node->info.whole;
        for (int k = 0; k < node->asks.count; k++) {
            const struct node *input = &job->plan->nodes[node->inputs[k]];
            if ((node->asks.asks[k].whole || node->kind->geometric) && !input->info.whole && input->wanted != 0)
                need += picture_bytes(input->info.data, plan_made_planes(input, input->wanted));
        }
        stored = stored && node->wanted != 0 && !node->shared;
        if (stored)
            need += picture_bytes(node->info.data, plan_made_planes(node, node->wanted));
    }
    for (int i = 0; i < job->delivery_count; i++)
        need += picture_bytes(shot_window(&job->plan->graph->shot, job->plan->graph->scale), HAS_RGBA) / 4;
    return need;
}

/* About how much scratch the strips of a job take, per worker. */
static size_t job_scratch(const struct job *job)
{
    size_t need = 0;
    for (int n = 0; n < job->plan->count; n++) {
        const struct node *node = &job->plan->nodes[n];
        struct rect strip = node->info.data;
        strip.y1 = strip.y0 + job->plan->strip_rows;
        if (node->wanted != 0 && !node->info.whole)
            need += picture_bytes(strip, plan_made_planes(node, node->wanted));
    }
    return need;
}

/* ---- the loop ------------------------------------------------------------------------------------------------------------------ */

static void finish_job(struct render *render, struct job *job)
{
    struct text notes = { 0 };
    const int32_t frame = job->plan->frame;
    pthread_mutex_lock(&render->workshop.lock);
    job_let_go(job);
    const size_t most = render->workshop.store.most_bytes;
    pthread_mutex_unlock(&render->workshop.lock);
    render->reserved -= job->reserved;
    render->in_flight--;
    watch_frame(render, (int)job->rank, job);
    job_release(job, &notes);
    tell_notes(render, frame, &notes);
    if (most > render->memory && !render->said_budget) {
        char text[160];
        (void)snprintf(text, sizeof text,
                       "one frame needs about %zu MiB for pictures, more than the %zu MiB that --memory allows",
                       most >> 20, render->memory >> 20);
        render->said_budget = true;
        tell(render, PASSEL_WARNING, frame, text);
    }
    if (job->status == PASSEL_OK)
        tell(render, PASSEL_FRAME_DONE, frame, "");
    else
        failed(render, frame, job->status, &job->error);
    memory_free(job);
}

/* Takes jobs that have ended; waits for one when `wait` is set and none has. */
static void take_ended(struct render *render, bool wait)
{
    struct workshop *workshop = &render->workshop;
    pthread_mutex_lock(&workshop->lock);
    while (wait && workshop->over == NULL)
        pthread_cond_wait(&workshop->ended, &workshop->lock);
    struct job *job = NULL;
    while (workshop->over != NULL) { /* the first to end is told first */
        struct job *ended = workshop->over;
        workshop->over = ended->next_waiting;
        ended->next_waiting = job;
        job = ended;
    }
    pthread_mutex_unlock(&workshop->lock);
    while (job != NULL) {
        struct job *next = job->next_waiting;
        finish_job(render, job);
        job = next;
    }
}

static void launch(struct render *render, struct job *job)
{
    struct passel_error error = { 0 };
    const enum passel_status status = job_begin(job, &error);
    if (status != PASSEL_OK) {
        failed(render, job->plan->frame, status, &error);
        watch_frame(render, (int)job->rank, NULL);
        job_free(job, NULL);
        return;
    }
    job->reserved = job_need(job);
    const size_t scratch = job_scratch(job) * (size_t)render->workshop.threads;
    for (;;) {
        take_ended(render, false);
        pthread_mutex_lock(&render->workshop.lock);
        store_make_room(&render->workshop.store, render->reserved + job->reserved + scratch);
        const bool fits = render->workshop.store.bytes + render->reserved + job->reserved + scratch <= render->memory;
        pthread_mutex_unlock(&render->workshop.lock);
        if (render->in_flight == 0 || (fits && render->in_flight <= render->workshop.threads))
            break;
        take_ended(render, true);
    }
    render->reserved += job->reserved;
    render->in_flight++;
    job_start(job);
}

/* Each frame is planned before the one ahead of it starts, so that both know what they share. */
static void render_frames(struct render *render)
{
    struct digests before = { 0 }, here = { 0 }, after = { 0 };
    struct job *job = NULL;
    for (int i = 0; i < render->frame_count && !stopped(render); i++) {
        struct job *next = NULL;
        plan_job(render, i, &next);
        digests_take(&after, next != NULL ? next->plan : NULL);
        if (job != NULL) {
            mark_shared(render, job->plan, &before, &after);
            launch(render, job);
        }
        const struct digests oldest = before;
        before = here;
        here = after;
        after = oldest;
        job = next;
        take_ended(render, false);
    }
    if (job != NULL) {
        digests_take(&after, NULL);
        mark_shared(render, job->plan, &before, &after);
        launch(render, job);
    }
    while (render->in_flight > 0)
        take_ended(render, true);
    digests_take(&before, NULL);
    digests_take(&here, NULL);
    digests_take(&after, NULL);
}

/* ---- set-up --------------------------------------------------------------------------------------------------------------------- */

static size_t machine_memory(void)
{
    const long pages = sysconf(_SC_PHYS_PAGES), size = sysconf(_SC_PAGESIZE);
    return pages > 0 && size > 0 ? (size_t)pages * (size_t)size : (size_t)4 << 30;
}

enum passel_status workshop_open(struct workshop *workshop, const struct graph *graph, int threads, size_t memory,
                                 const volatile int *stop, struct passel_error *error)
{
    *workshop = (struct workshop){ .graph = graph,
                                   .threads = threads > 0 ? threads : machine_threads(),
                                   .stop = stop };
    workshop->store.budget = memory > 0 ? memory : machine_memory() / 4;
    workshop->scratch = memory_zeros((size_t)workshop->threads, sizeof *workshop->scratch);
    if (workshop->scratch == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    (void)pthread_mutex_init(&workshop->lock, NULL);
    (void)pthread_cond_init(&workshop->ended, NULL);
    const enum passel_status status = pool_new(workshop->threads, &workshop->pool, error);
    if (status != PASSEL_OK)
        workshop_close(workshop);
    return status;
}

void workshop_close(struct workshop *workshop)
{
    pool_free(workshop->pool);
    store_release(&workshop->store);
    for (int i = 0; i < workshop->threads; i++)
        scratch_let_go(&workshop->scratch[i]);
    memory_free(workshop->scratch);
    (void)pthread_cond_destroy(&workshop->ended);
    (void)pthread_mutex_destroy(&workshop->lock);
}

/* Frames of the list must be frames of the shot. */
static enum passel_status check_frames(const struct shot *shot, const int32_t *frames, int count,
                                       struct passel_error *error)
{
    for (int i = 0, k = 0; i < count; i++) {
        while (k < shot->frame_count && shot->frames[k] < frames[i])
            k++;
        if (k == shot->frame_count || shot->frames[k] != frames[i])
            return error_set(error, PASSEL_BAD_USE, "the shot has no frame %d; its frames are %d to %d",
                             (int)frames[i], (int)shot->frames[0], (int)shot->frames[shot->frame_count - 1]);
    }
    return PASSEL_OK;
}

enum passel_status preview_frames(const struct shot *shot, int32_t **frames, int *count, struct passel_error *error)
{
    *count = shot_looks(shot, PREVIEW_FRAMES);
    *frames = memory_zeros((size_t)*count, sizeof **frames);
    if (*frames == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < *count; k++)
        (*frames)[k] = shot_look(shot, PREVIEW_FRAMES, k);
    return PASSEL_OK;
}

static enum passel_status unknown_label(const struct graph *graph, const char *label, struct passel_error *error)
{
    struct text labels = { 0 };
    for (int i = 0; i < graph->output_count; i++) {
        if (graph->outputs[i].label[0] != '\0')
            text_print(&labels, "%s%s", labels.length > 0 ? ", " : "", graph->outputs[i].label);
    }
    if (labels.length > 0)
        (void)error_set(error, PASSEL_BAD_USE, "no output has the label \"%s\"; the recipe has %s", label, labels.bytes);
    else
        (void)error_set(error, PASSEL_BAD_USE,
                        "no output has the label \"%s\"; give it one in the recipe: output PICTURE as %s", label, label);
    text_release(&labels);
    return PASSEL_BAD_USE;
}

static bool shows_same(const struct output *a, const struct output *b)
{
    return a->pictures[0].value->block == b->pictures[0].value->block &&
           a->pictures[0].value->picture == b->pictures[0].value->picture;
}

bool render_chooses(const struct graph *graph, const struct passel_render_options *options, int index)
{
    for (int k = 0; k < options->output_count; k++) {
        if (strcmp(options->outputs[k], graph->outputs[index].label) == 0)
            return true;
    }
    for (int i = 0; i < index && graph->preview; i++) {
        if (shows_same(&graph->outputs[i], &graph->outputs[index]))
            return false;
    }
    return options->output_count == 0;
}

static enum passel_status choose_outputs(struct render *render, const struct graph *graph, struct passel_error *error)
{
    const struct passel_render_options *options = render->options;
    if (graph->output_count == 0)
        return error_set(error, PASSEL_BAD_RECIPE, "%s: the recipe has no output block, so there is nothing to write",
                         graph->recipe->path);
    render->outputs = memory_zeros((size_t)graph->output_count, sizeof *render->outputs);
    if (render->outputs == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < graph->output_count; i++) {
        if (render_chooses(graph, options, i))
            render->outputs[render->output_count++] = &graph->outputs[i];
    }
    for (int k = 0; k < options->output_count; k++) {
        bool known = false;
        for (int i = 0; i < graph->output_count; i++)
            known = known || strcmp(options->outputs[k], graph->outputs[i].label) == 0;
        if (!known)
            return unknown_label(graph, options->outputs[k], error);
    }
    return PASSEL_OK;
}

/* The store moves from the caller to the workshop and back. */
static void exchange_store(struct store *kept, struct store *store)
{
    if (kept == NULL)
        return;
    const struct store other = *kept;
    const size_t budget = store->budget;
    *kept = *store;
    *store = other;
    store->budget = budget;
    store->most_bytes = store->bytes;
}

enum passel_status render_range(const struct graph *graph, const struct passel_render_options *options,
                                struct store *kept, struct passel_render_result *result, struct passel_error *error)
{
    struct render render = { .options = options, .error = error, .frames = graph->shot.frames,
                             .frame_count = graph->shot.frame_count };
    int32_t *frames = NULL;
    enum passel_status status;
    (void)clock_gettime(CLOCK_MONOTONIC, &render.begin);
    if (options->frames != NULL) {
        GOTO_IF_ERROR(frames_parse(options->frames, &frames, &render.frame_count, error), out_frames);
        GOTO_IF_ERROR(check_frames(&graph->shot, frames, render.frame_count, error), out_frames);
        render.frames = frames;
    } else if (graph->preview) {
        GOTO_IF_ERROR(preview_frames(&graph->shot, &frames, &render.frame_count, error), out_frames);
        render.frames = frames;
    }
    render.result.total = render.frame_count;
    GOTO_IF_ERROR(choose_outputs(&render, graph, error), out_frames);
    GOTO_IF_ERROR(workshop_open(&render.workshop, graph, options->threads, options->memory, options->stop, error),
                  out_frames);
    exchange_store(kept, &render.workshop.store);
    render.memory = render.workshop.store.budget;
    GOTO_IF_ERROR(watches_open(&render, &graph->shot, error), out_workshop);
    render_frames(&render);
    tell_flashes(&render);
    status = render.first_status;
    if (stopped(&render))
        status = error_set(error, PASSEL_STOPPED, "stopped; the frames that are there are whole");
    else if (status != PASSEL_OK && render.result.failed < render.result.total)
        status = PASSEL_PARTLY;
out_workshop:
    watches_close(&render);
    exchange_store(kept, &render.workshop.store);
    workshop_close(&render.workshop);
out_frames:
    memory_free(render.outputs);
    memory_free(frames);
    render.result.seconds = seconds_since(&render.begin);
    if (result != NULL)
        *result = render.result;
    return status;
}

/* What is wanted beside the picture: the numbers that its block tells. */
struct told {
    double *numbers;
    int count;
};

static enum passel_status make_picture(const struct graph *graph, const struct value *value, int32_t frame, int threads,
                                       struct picture *picture, struct picture_info *info, struct told *told,
                                       struct passel_error *error)
{
    struct workshop workshop;
    struct job job = { .workshop = &workshop, .root_count = 1 };
    enum passel_status status;
    *picture = (struct picture){ 0 };
    RETURN_IF_ERROR(workshop_open(&workshop, graph, threads, 0, NULL, error));
    job.roots = memory_zeros(1, sizeof *job.roots);
    job.planes = memory_zeros(1, sizeof *job.planes);
    if (job.roots == NULL || job.planes == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_job);
    GOTO_IF_ERROR(plan_new(graph, frame, &value, 1, job.roots, &job.plan, error), out_job);
    *info = job.plan->nodes[job.roots[0]].info;
    job.planes[0] = info->planes;
    job.grab = picture;
    GOTO_IF_ERROR(job_begin(&job, error), out_job);
    GOTO_IF_ERROR(picture_new(picture, info->display, info->planes, error), out_job);
    job_start(&job);
    pool_wait(workshop.pool);
    status = job.status;
    if (status != PASSEL_OK) {
        (void)error_set(error, status, "%s", job.error.text);
        picture_release(picture);
    } else if (told != NULL) {
        const struct node *node = &job.plan->nodes[job.roots[0]];
        told->count = node->kind->tell(&node->at, told->numbers);
    }
    job_let_go(&job);
out_job:
    job_release(&job, NULL);
    workshop_close(&workshop);
    return status;
}

enum passel_status render_picture(const struct graph *graph, const struct block *block, int which, int32_t frame,
                                  int threads, struct picture *picture, struct picture_info *info,
                                  struct passel_error *error)
{
    const struct value value = { .block = block, .picture = which };
    return make_picture(graph, &value, frame, threads, picture, info, NULL, error);
}

enum passel_status render_told(const struct graph *graph, const struct block *block, int32_t frame, int threads,
                               double *numbers, int *count, struct passel_error *error)
{
    const struct value value = { .block = block };
    struct told told = { .numbers = numbers };
    struct picture picture;
    struct picture_info info;
    RETURN_IF_ERROR(make_picture(graph, &value, frame, threads, &picture, &info, &told, error));
    picture_release(&picture);
    *count = told.count;
    return PASSEL_OK;
}

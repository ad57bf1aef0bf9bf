/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/plan.h"

#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "engine/digest.h"
#include "kinds/kinds.h"

#define DEPTH_LIMIT 4000 /* nested blocks; each takes a few hundred bytes of the planner's stack */

static enum passel_status discover(struct plan *plan, const struct block *block, int picture, int32_t frame, int depth,
                                   int *found, struct passel_error *error);

/* ---- the index of nodes ------------------------------------------------------------------------------------------ */

static size_t slot_of(const struct plan *plan, int block, int picture, int32_t frame)
{
    const uint32_t mixed = (uint32_t)block * 2654435761u ^ (uint32_t)picture * 40503u ^ (uint32_t)frame * 2246822519u;
    return (size_t)(mixed ^ mixed >> 15) & (size_t)(plan->index_room - 1);
}

static int find_node(const struct plan *plan, int block, int picture, int32_t frame)
{
    for (size_t i = slot_of(plan, block, picture, frame);; i = (i + 1) & (size_t)(plan->index_room - 1)) {
        const int n = plan->index[i];
        if (n < 0)
            return -1;
        const struct at *at = &plan->nodes[n].at;
        if (at->block->index == block && at->picture == picture && at->frame == frame)
            return n;
    }
}

static void index_node(struct plan *plan, int n)
{
    const struct at *at = &plan->nodes[n].at;
    size_t i = slot_of(plan, at->block->index, at->picture, at->frame);
    while (plan->index[i] >= 0)
        i = (i + 1) & (size_t)(plan->index_room - 1);
    plan->index[i] = n;
}

static enum passel_status make_room(struct plan *plan, struct passel_error *error)
{
    if (plan->count < plan->room)
        return PASSEL_OK;
    const int room = plan->room == 0 ? 64 : plan->room * 2;
    struct node *nodes = memory_grow(plan->nodes, (size_t)plan->room, (size_t)room, sizeof *nodes);
    if (nodes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    plan->nodes = nodes;
    plan->room = room;
    int *index = memory_new((size_t)room * 4 * sizeof *index);
    if (index == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memory_free(plan->index);
    plan->index = index;
    plan->index_room = room * 4;
    for (int i = 0; i < plan->index_room; i++)
        index[i] = -1;
    for (int i = 0; i < plan->count; i++)
        index_node(plan, i);
    return PASSEL_OK;
}

/* ---- one node ---------------------------------------------------------------------------------------------------- */

static void node_release(struct node *node, struct text *notes)
{
    if (node->opened && node->kind->close != NULL)
        node->kind->close(node->at.state, notes);
    memory_free(node->asks.asks);
    memory_free(node->looks.asks);
    memory_free(node->inputs);
    memory_free(node->looked);
    memory_free(node->input_infos);
}

/* Discovers what a list of asks names; *nodes is theirs in order. */
static enum passel_status discover_asks(struct plan *plan, const struct node *node, const struct ask_list *list,
                                        int depth, int **nodes, struct passel_error *error)
{
    if (list->failed)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (list->count > ASK_LIMIT)
        return recipe_error(node->at.recipe, node->at.block->where, PASSEL_UNSUPPORTED, error,
                            "this block needs more than %d pictures at once", ASK_LIMIT);
    *nodes = memory_zeros((size_t)list->count + 1, sizeof **nodes);
    if (*nodes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < list->count; i++) {
        const struct ask *ask = &list->asks[i];
        const enum passel_status status =
            discover(plan, ask->block, ask->picture, ask->frame, depth + 1, &(*nodes)[i], error);
        if (status != PASSEL_OK && !(ask->replaceable && status_of_file(status)))
            return status;
        if (status != PASSEL_OK)
            (*nodes)[i] = -1;
    }
    return PASSEL_OK;
}

bool status_of_file(enum passel_status status)
{
    return status == PASSEL_NO_FILE || status == PASSEL_BAD_FILE || status == PASSEL_UNSUPPORTED;
}

bool plan_replace_look(struct plan *plan, struct node *node, int k)
{
    const struct ask *look = &node->looks.asks[k];
    for (int i = 0; i < node->looks.count; i++) {
        const struct ask *other = &node->looks.asks[i];
        if (other->block == look->block && other->picture == look->picture && other->round == look->round &&
            node->looked[i] >= 0 && !plan->nodes[node->looked[i]].lost) {
            node->looked[k] = node->looked[i];
            return true;
        }
    }
    return false;
}

/* What the analysis looks at; a file that is not there has another one stand in for it. */
static enum passel_status node_looks(struct plan *plan, struct node *node, int depth, struct passel_error *error)
{
    if (node->kind->analysis == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(node->kind->analysis->asks(&node->at, &node->looks, error));
    RETURN_IF_ERROR(discover_asks(plan, node, &node->looks, depth, &node->looked, error));
    for (int k = 0; k < node->looks.count; k++) {
        const struct ask *look = &node->looks.asks[k];
        if (node->looked[k] >= 0 || plan_replace_look(plan, node, k))
            continue;
        return discover(plan, look->block, look->picture, look->frame, depth + 1, &node->looked[k], error);
    }
    return PASSEL_OK;
}

static enum passel_status node_inputs(struct plan *plan, struct node *node, int depth, struct passel_error *error)
{
    if (node->kind->open != NULL) {
        RETURN_IF_ERROR(node->kind->open(&node->at, &node->at.state, error));
        node->opened = true;
    }
    if (node->kind->asks != NULL)
        RETURN_IF_ERROR(node->kind->asks(&node->at, &node->asks, error));
    RETURN_IF_ERROR(discover_asks(plan, node, &node->asks, depth, &node->inputs, error));
    node->at.asks = node->asks.asks;
    node->at.ask_count = node->asks.count;
    node->input_infos = memory_zeros((size_t)node->asks.count + 1, sizeof *node->input_infos);
    if (node->input_infos == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < node->asks.count; i++)
        node->input_infos[i] = plan->nodes[node->inputs[i]].info;
    node->at.inputs = node->input_infos;
    return node_looks(plan, node, depth, error);
}

static enum passel_status node_info(struct node *node, struct passel_error *error)
{
    node->info = (struct picture_info){ .chunk_rows = 1, .pixel_aspect = 1 };
    if (node->kind->info != NULL)
        RETURN_IF_ERROR(node->kind->info(&node->at, &node->info, error));
    else if (node->asks.count > 0)
        node->info = node->input_infos[0];
    if (node->info.chunk_rows < 1 || node->kind->asks != NULL)
        node->info.chunk_rows = 1;
    if (node->kind->info == NULL)
        node->info.strip_rows = 0;
    if (node->kind->asks != NULL)
        node->info.whole = false;
    node->info.resampled = node->kind->geometric && node->at.picture == 0;
    for (int k = 0; k < node->asks.count; k++)
        node->info.resampled = node->info.resampled || node->input_infos[k].resampled;
    return PASSEL_OK;
}

static enum passel_status node_files(struct plan *plan, struct node *node, struct digest *digest,
                                     struct passel_error *error)
{
    const char *path;
    for (int i = 0; node->kind->file != NULL && (path = node->kind->file(&node->at, i)) != NULL; i++) {
        struct file_facts facts;
        RETURN_IF_ERROR(file_facts(path, &facts, error));
        const size_t folder = strlen(node->at.recipe->folder);
        const bool below = strncmp(path, node->at.recipe->folder, folder) == 0;
        digest_text(digest, below ? path + folder : path);
        digest_bytes(digest, &facts.size, sizeof facts.size);
        if (facts.modified_ns > plan->newest_ns)
            plan->newest_ns = facts.modified_ns;
        if (plan->file_count == plan->file_room) {
            const int room = plan->file_room == 0 ? 32 : plan->file_room * 2;
            struct file_facts *files = memory_grow(plan->files, (size_t)plan->file_room, (size_t)room, sizeof *files);
            if (files == NULL)
                return error_set(error, PASSEL_NO_MEMORY, "out of memory");
            plan->files = files;
            plan->file_room = room;
        }
        plan->files[plan->file_count++] = facts;
    }
    return PASSEL_OK;
}

static void digest_asks(const struct plan *plan, const struct ask_list *list, const int *nodes, struct digest *digest)
{
    for (int i = 0; i < list->count; i++) {
        digest_bytes(digest, &plan->nodes[nodes[i]].digest, sizeof plan->nodes[nodes[i]].digest);
        digest_bytes(digest, &list->asks[i].round, sizeof list->asks[i].round);
    }
}

static double moment_beside(double open, int count, int k)
{
    return count > 1 ? open * ((k + 0.5) / count - 0.5) : 0;
}

double node_moment(const struct node *node, int k)
{
    return moment_beside(node->open, node->moments, k);
}

/* A smeared picture follows from the settings at all its moments. */
static void digest_moments(struct node *node, struct digest *digest)
{
    const int count = node->kind->moments != NULL ? node->kind->moments(&node->at, &node->open) : 1;
    node->moments = node->kind->geometric ? count : 1;
    for (int k = 0; k < count && count > 1; k++)
        digest_block(digest, node->at.block, node->at.frame + moment_beside(node->open, count, k), true);
}

/* What the picture shows, from the settings at this frame, the inputs and the files. */
static enum passel_status node_digest(struct plan *plan, struct node *node, struct passel_error *error)
{
    struct digest digest;
    RETURN_IF_ERROR(digest_begin(&digest, error));
    digest_shot(&digest, node->at.shot, node->at.scale);
    digest_text(&digest, node->kind->schema.name);
    digest_bytes(&digest, &node->at.picture, sizeof node->at.picture);
    digest_block(&digest, node->at.block, node->at.frame, true);
    digest_moments(node, &digest);
    if (node->kind->by_frame != NULL && node->kind->by_frame(&node->at))
        digest_bytes(&digest, &node->at.frame, sizeof node->at.frame);
    digest_asks(plan, &node->asks, node->inputs, &digest);
    digest_asks(plan, &node->looks, node->looked, &digest);
    const enum passel_status status = node_files(plan, node, &digest, error);
    node->digest = digest_end(&digest);
    if (status != PASSEL_OK || node->looks.count == 0)
        return status;
    RETURN_IF_ERROR(digest_begin(&digest, error));
    digest_shot(&digest, node->at.shot, node->at.scale);
    digest_text(&digest, node->kind->schema.name);
    digest_block(&digest, node->at.block, node->at.frame, node->kind->analysis->settings_matter);
    digest_asks(plan, &node->looks, node->looked, &digest);
    node->look_digest = digest_end(&digest);
    return PASSEL_OK;
}

static enum passel_status discover(struct plan *plan, const struct block *block, int picture, int32_t frame, int depth,
                                   int *found, struct passel_error *error)
{
    RETURN_IF_ERROR(make_room(plan, error));
    *found = find_node(plan, block->index, picture, frame);
    if (*found >= 0)
        return PASSEL_OK;
    if (depth > DEPTH_LIMIT)
        return recipe_error(plan->graph->recipe, block->where, PASSEL_UNSUPPORTED, error,
                            "more than %d blocks stand one upon another here", DEPTH_LIMIT);
    const struct graph *graph = plan->graph;
    struct node *node = memory_zeros(1, sizeof *node); /* aside: the array may move while the inputs are found */
    if (node == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    node->kind = graph->kinds[block->index];
    node->source = -1;
    node->at = (struct at){ .self = graph->selfs[block->index],
                            .block = block,
                            .recipe = graph->recipe,
                            .shot = &graph->shot,
                            .picture = picture,
                            .frame = frame,
                            .scale = graph->scale };
    enum passel_status status;
    GOTO_IF_ERROR(node_inputs(plan, node, depth, error), out_node);
    GOTO_IF_ERROR(node_info(node, error), out_node);
    GOTO_IF_ERROR(node_digest(plan, node, error), out_node);
    GOTO_IF_ERROR(make_room(plan, error), out_node);
    *found = plan->count;
    plan->nodes[plan->count++] = *node;
    index_node(plan, *found);
    memory_free(node);
    return PASSEL_OK;
out_node:
    node_release(node, NULL);
    memory_free(node);
    return status;
}

/* ---- the plan ---------------------------------------------------------------------------------------------------- */

/* The lock pass gives metadata: follow the first input down to a file. */
static enum passel_status find_lock(struct plan *plan, struct passel_error *error)
{
    plan->lock = -1;
    if (plan->graph->shot.lock == NULL)
        return PASSEL_OK;
    int n;
    RETURN_IF_ERROR(discover(plan, plan->graph->shot.lock, 0, plan->frame, 0, &n, error));
    while (plan->nodes[n].kind != &kind_pass && plan->nodes[n].asks.count > 0)
        n = plan->nodes[n].inputs[0];
    if (plan->nodes[n].kind == &kind_pass)
        plan->lock = n;
    return PASSEL_OK;
}

enum passel_status plan_new(const struct graph *graph, int32_t frame, const struct value *const *roots, int root_count,
                            int *root_nodes, struct plan **made, struct passel_error *error)
{
    struct plan *plan = memory_zeros(1, sizeof *plan);
    *made = NULL;
    if (plan == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    plan->graph = graph;
    plan->frame = frame;
    enum passel_status status = PASSEL_OK;
    for (int i = 0; i < root_count; i++)
        GOTO_IF_ERROR(discover(plan, roots[i]->block, roots[i]->picture, frame, 0, &root_nodes[i], error), out_plan);
    GOTO_IF_ERROR(find_lock(plan, error), out_plan);
    for (int i = 0; i < plan->count; i++)
        plan->nodes[i].at.info = &plan->nodes[i].info; /* the array stands still from here on */
    *made = plan;
    return PASSEL_OK;
out_plan:
    plan_free(plan, NULL);
    return status;
}

unsigned plan_ask_planes(const struct node *node, const struct ask *ask)
{
    const unsigned named = ask->planes & HAS_RGBA;
    return (ask->planes & PLANES_AS_WANTED) != 0 ? named | node->wanted : named;
}

unsigned plan_made_planes(const struct node *node, unsigned wanted)
{
    unsigned made = wanted & node->info.planes;
    if ((wanted & HAS_RGB) != 0 && (node->info.planes & HAS_RGB) == 0)
        made |= HAS_A & node->info.planes;
    return made;
}

void plan_want(struct plan *plan, const int *roots, const unsigned *planes, int root_count)
{
    for (int i = 0; i < root_count; i++)
        plan->nodes[roots[i]].wanted |= planes[i];
    for (int n = plan->count - 1; n >= 0; n--) {
        struct node *node = &plan->nodes[n];
        if (node->wanted == 0)
            continue; /* nobody asks: its inputs are not needed for it */
        for (int k = 0; k < node->asks.count; k++)
            plan->nodes[node->inputs[k]].wanted |= plan_ask_planes(node, &node->asks.asks[k]);
        for (int k = 0; k < node->looks.count; k++) {
            struct node *looked = &plan->nodes[node->looked[k]];
            const struct ask *look = &node->looks.asks[k];
            looked->wanted |= (look->planes & PLANES_AS_WANTED) != 0 ? looked->info.planes : look->planes & HAS_RGBA;
        }
    }
}

/* Joins `node` with the chain below. The border is the business of the step that meets it:
 * where the lowest holds the source's edge, the picture that it makes still ends where its data window ends, and the
 * first step above that does not hold shows that end. */
static void fold(struct node *node, const struct node *below)
{
    const bool hold = node->hold;
    node->below = below->transform;
    node->transform = transform_chain(node->own, below->transform);
    node->source = below->source;
    node->hold = below->hold;
    node->cut = below->cut || (below->hold && !hold);
    node->window = below->cut ? below->window : below->info.data;
    if (below->cut)
        node->to_window = transform_chain(below->own, below->to_window);
}

enum passel_status plan_resolve(struct plan *plan, int n, struct passel_error *error)
{
    struct node *node = &plan->nodes[n];
    if (node->resolved)
        return PASSEL_OK;
    node->own = node->below = node->to_window = transform_identity();
    RETURN_IF_ERROR(node->kind->transform(&node->at, &node->own, &node->at.filter, &node->ends_chain, error));
    if (plan->graph->preview && node->at.filter != FILTER_NEAREST)
        node->at.filter = FILTER_LINEAR;
    node->ends_chain = node->ends_chain || node->moments > 1;
    node->transform = node->own;
    node->source = node->inputs[0];
    node->hold = node->asks.asks[0].border == BORDER_HOLD;
    const struct node *below = &plan->nodes[node->source];
    if (below->kind->geometric && below->at.picture == 0) {
        RETURN_IF_ERROR(plan_resolve(plan, node->source, error));
        if (!below->ends_chain)
            fold(node, below);
    }
    node->at.transform = &node->transform;
    node->whole_shift = node->moments <= 1 && transform_is_shift(&node->transform, &node->shift_x, &node->shift_y);
    node->resolved = true;
    return PASSEL_OK;
}

enum passel_status plan_check_files(const struct plan *plan, struct passel_error *error)
{
    const char *path;
    int file = 0; /* in the order in which node_files noted them */
    for (int n = 0; n < plan->count; n++) {
        const struct node *node = &plan->nodes[n];
        for (int i = 0; node->kind->file != NULL && (path = node->kind->file(&node->at, i)) != NULL; i++, file++) {
            struct file_facts now;
            RETURN_IF_ERROR(file_facts(path, &now, error));
            if (now.size != plan->files[file].size || now.modified_ns != plan->files[file].modified_ns)
                return error_set(error, PASSEL_BAD_FILE, "%s: was changed while the frame was being made; render again",
                                 path);
        }
    }
    return PASSEL_OK;
}

void plan_free(struct plan *plan, struct text *notes)
{
    if (plan == NULL)
        return;
    for (int i = 0; i < plan->count; i++)
        node_release(&plan->nodes[i], notes);
    memory_free(plan->nodes);
    memory_free(plan->index);
    memory_free(plan->files);
    memory_free(plan);
}

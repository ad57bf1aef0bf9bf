/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The parts of a survey's page. It is one file, reads without scripts and without a network, on a phone and in a dark
 * room; marks and words say what colours say. The same survey gives the same bytes.
 */
#ifndef SURVEY_PAGE_H
#define SURVEY_PAGE_H

#include "survey/survey_words.h"

/* Words of others: what HTML would take for its own is escaped, what is no text becomes U+FFFD. */
void page_escape(struct text *text, const char *words);
/* A number to read, rounded, that carries its value as --json writes it. */
void page_number(struct text *text, double value, int decimals);
/* "re-shoot", "care", "good": the class that colours a part, and the mark that says the same. */
const char *page_class(enum severity severity);
const char *page_mark(enum severity severity);

/* One pass with its picture, figures and plots (page_pass.c). */
void page_pass(const struct survey *survey, int index, struct text *text);
void page_style(struct text *text);

/* A small picture as a data: address, `stops` brighter than it is (page_picture.c). */
void page_picture(const struct look *look, int stops, struct text *text);

/* Plots over the frames as inline SVG (page_plot.c). */
void page_levels(const struct pass_gauge *pass, struct text *text);
void page_track(const struct survey *survey, const struct pass_gauge *pass, struct text *text);
void page_steps(const struct survey *survey, const struct pass_gauge *pass, struct text *text);

/* Maps of the picture, with a figure in each of their cells (page_map.c). */
void page_evenness(const struct pass_gauge *pass, struct text *text);
void page_rest(const struct survey *survey, const struct pass_gauge *pass, struct text *text);
/* Which of two screens keys which part of the subject (page_screen.c). */
void page_choice(const struct survey *survey, int index, struct text *text);
/* Where a pass is crushed; nothing when it is nowhere. */
void page_crushed(const struct pass_gauge *pass, struct text *text);
/* What maps are made of: a title and an open svg element that wants its aria-label; cells side by side, the figures in
 * their middle, a frame around those that are marked; a dot where there is nothing. */
void page_open_map(struct text *text, const char *title);
void page_cell(int part, const char *fill, const char *ink, const char *figure, bool mark, struct text *text);
void page_empty_cell(int part, struct text *text);
/* Hatches where a pass is clipped in any frame, over its picture. False when nowhere is. */
bool page_clipped(const struct pass_gauge *pass, int index, struct text *text);

#endif

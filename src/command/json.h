/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef COMMAND_JSON_H
#define COMMAND_JSON_H

/* Prints a JSON string (RFC 8259) with its quotes on stdout; bytes that are not UTF-8 become U+FFFD. */
void json_text(const char *text);

/* Prints a JSON number, or null when it is not finite. */
void json_number(double number);

#endif

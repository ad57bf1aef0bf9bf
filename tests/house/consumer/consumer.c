/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The smallest program that uses an installed Passel; compiled as C and as C++ by the install test.
 */
#include <passel/error.h>
#include <stdio.h>

int main(void)
{
    printf("%s\n", passel_status_text(PASSEL_BAD_FILE));
    return 0;
}

/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/survey_words.h"

#include <math.h>

struct phrase {
    const char *before, *one, *many;
    int decimals;
};

static const struct phrase phrases[LIMIT_COUNT] = {
    [LIMIT_UNREADABLE] = { "", " frame cannot be read", " frames cannot be read", 0 },
    [LIMIT_MISSING] = { "", " frame is missing", " frames are missing", 0 },
    [LIMIT_SIZE] = { "", " frame has another size", " frames have another size", 0 },
    [LIMIT_SHORT] = { "", " frame shorter than the others", " frames shorter than the others", 0 },
    [LIMIT_DUPLICATE] = { "", " frame repeats another, bit for bit", " frames repeat another, bit for bit", 0 },
    [LIMIT_NUMBERS] = { "", " pixel holds no number", " pixels hold no number", 0 },
    [LIMIT_BUMP] = { "stands ", NULL, " px off the other passes", 2 },
    [LIMIT_SCREENS] = { "stands ", NULL, " px off the same set before its other screen", 2 },
    [LIMIT_SHAKE] = { "shakes by ", NULL, " px (root mean square)", 2 },
    [LIMIT_FLICKER] = { "its light flickers by ", NULL, "% from frame to frame", 1 },
    [LIMIT_BANDS] = { "its rows change by ", NULL, "% against the whole frame: rolling bands", 1 },
    [LIMIT_FLASH] = { "shown as it is, flashes more than three times in a second over ", NULL, "% of its area", 1 },
    [LIMIT_CLIPPED] = { "is clipped over ", NULL, "% of its area", 1 },
    [LIMIT_CRUSHED] = { "is crushed over ", NULL, "% of what is lit", 1 },
    [LIMIT_NOISE] = { "is noisy: its light is only ", NULL, " times the noise", 1 },
    [LIMIT_FOCUS] = { "is soft: it has ", NULL, " times the fine detail of the lock pass", 2 },
    [LIMIT_EVENNESS] = { "its screen is uneven by ", NULL, " stops", 2 },
    [LIMIT_HUE] = { "parts of it lie only ", NULL, " degrees from the screen's hue", 0 },
    [LIMIT_SPILL] = { "", NULL, "% of its light is the screen's", 1 },
    [LIMIT_EDGES] = { "at its edges about ", NULL, "% of the light is the screen's, by one screen", 0 },
    [LIMIT_DARK] = { "its level wanders by ", NULL, "%", 0 },
    [LIMIT_SUM] = { "the single lamps do not add up to it: ", NULL, "% of its light is left", 1 },
    [LIMIT_DEAD] = { "", " place stands out in every pass: a dead pixel, or dust",
                     " places stand out in every pass: dead pixels, or dust", 0 },
    [LIMIT_ODD] = { "fits no other pass", NULL, "", -1 },
};

struct finding_words finding_words(const struct finding *finding)
{
    const struct phrase *phrase = &phrases[finding->kind];
    if (phrase->many == NULL) /* a limit without words of its own yet has those of the table */
        return (struct finding_words){ "is beyond a limit: ", limit_table[finding->kind].what, 2 };
    const bool one = phrase->one != NULL && finding->value == 1;
    return (struct finding_words){ phrase->before, one ? phrase->one : phrase->many, phrase->decimals };
}

double finding_limit(const struct survey *survey, const struct finding *finding)
{
    const struct limit *limit = &survey->limits[finding->kind];
    return finding->severity == SEVERITY_SHOOT ? limit->shoot : limit->care;
}

enum severity pass_severity(const struct survey *survey, int pass)
{
    enum severity worst = SEVERITY_GOOD;
    for (int i = 0; i < survey->finding_count; i++) {
        if (survey->findings[i].pass == pass && survey->findings[i].severity > worst)
            worst = survey->findings[i].severity;
    }
    return worst;
}

int count_passes(const struct survey *survey, enum severity severity)
{
    int count = 0;
    for (int i = 0; i < survey->count; i++)
        count += pass_severity(survey, i) == severity;
    return count;
}

void verdict_words(const struct survey *survey, struct text *text)
{
    const int again = count_passes(survey, SEVERITY_SHOOT), care = count_passes(survey, SEVERITY_CARE);
    if (survey->severity == SEVERITY_GOOD)
        text_print(text, survey->count == 1 ? "The pass is good" : "All passes are good");
    else if (again > 0)
        text_print(text, "Shoot %d pass%s again", again, again == 1 ? "" : "es");
    else if (survey->severity == SEVERITY_SHOOT)
        text_print(text, "Not usable as it is");
    else if (care > 0)
        text_print(text, "Usable, %d pass%s with care", care, care == 1 ? "" : "es");
    else
        text_print(text, "Usable with care");
}

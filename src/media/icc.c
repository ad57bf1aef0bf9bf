/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * ICC profiles (ICC.1:2022) through Little CMS. A matrix/TRC profile holds the primaries adapted to D50 and a curve per
 * channel; the adaptation is undone with the profile's own `chad` matrix, or with Bradford from its white point.
 */
#include "media/icc.h"

#include <lcms2_plugin.h>
#include <math.h>
#include <string.h>

enum { CURVE_SAMPLES = 257 };
#define CURVE_TOLERANCE 5e-4
#define SNAP_TOLERANCE 1e-3 /* profiles round their matrix to 1/65536 and their authors rounded before that */

static double srgb_light(double code)
{
    return code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);
}

static double rec709_light(double code)
{
    return code < 0.081 ? code / 4.5 : pow((code + 0.099) / 1.099, 1 / 0.45);
}

static double encoding_light(struct encoding encoding, double code)
{
    switch (encoding.curve) {
    case ENCODING_SRGB:
        return srgb_light(code);
    case ENCODING_REC709:
        return rec709_light(code);
    case ENCODING_GAMMA:
        return pow(code, encoding.gamma);
    default:
        return code;
    }
}

static double curve_light(const cmsToneCurve *curve, double code)
{
    return (double)cmsEvalToneCurveFloat(curve, (cmsFloat32Number)code);
}

static bool curve_is(const cmsToneCurve *curve, struct encoding encoding)
{
    for (int i = 0; i < CURVE_SAMPLES; i++) {
        const double code = i / (CURVE_SAMPLES - 1.0);
        if (!(fabs(curve_light(curve, code) - encoding_light(encoding, code)) <= CURVE_TOLERANCE))
            return false;
    }
    return true;
}

/* The power that passes through the curve's middle, to a thousandth so that it is the same on every machine; the exact
 * one when the profile names it. */
static double curve_gamma(const cmsToneCurve *curve)
{
    const cmsFloat64Number *parameters = cmsGetToneCurveParams(curve);
    if (cmsGetToneCurveParametricType(curve) == 1 && parameters)
        return parameters[0];
    const double middle = curve_light(curve, 0.5);
    if (!(middle > 1e-4 && middle < 0.999))
        return 1;
    return floor(log(middle) / log(0.5) * 1000 + 0.5) / 1000;
}

static bool curve_reduce(const cmsToneCurve *curve, struct encoding *encoding)
{
    const struct encoding known[] = {
        { ENCODING_LINEAR, 0 }, { ENCODING_SRGB, 0 }, { ENCODING_REC709, 0 }, { ENCODING_GAMMA, curve_gamma(curve) }
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (curve_is(curve, known[i])) {
            *encoding = known[i];
            return true;
        }
    }
    return false;
}

/* Bradford: cone responses of both whites, and their ratios applied between the cone matrix and its inverse. */
static bool bradford(const cmsCIEXYZ *from, const cmsCIEXYZ *to, cmsMAT3 *adaptation)
{
    const cmsMAT3 cone = {
        { { { 0.8951, 0.2664, -0.1614 } }, { { -0.7502, 1.7135, 0.0367 } }, { { 0.0389, -0.0685, 1.0296 } } }
    };
    const cmsVEC3 whites[2] = { { { from->X, from->Y, from->Z } }, { { to->X, to->Y, to->Z } } };
    cmsVEC3 responses[2];
    cmsMAT3 inverse, scaled = cone;
    for (int i = 0; i < 2; i++)
        _cmsMAT3eval(&responses[i], &cone, &whites[i]);
    for (int row = 0; row < 3; row++) {
        if (!(responses[0].n[row] > 1e-6))
            return false;
        for (int column = 0; column < 3; column++)
            scaled.v[row].n[column] *= responses[1].n[row] / responses[0].n[row];
    }
    if (!_cmsMAT3inverse(&cone, &inverse))
        return false;
    _cmsMAT3per(adaptation, &inverse, &scaled);
    return true;
}

/* The matrix from the native white to D50. */
static bool adaptation_read(cmsHPROFILE profile, cmsMAT3 *adaptation)
{
    const cmsFloat64Number *chad = cmsReadTag(profile, cmsSigChromaticAdaptationTag);
    if (chad) {
        memcpy(adaptation, chad, sizeof *adaptation);
        return true;
    }
    const cmsCIEXYZ *white = cmsReadTag(profile, cmsSigMediaWhitePointTag);
    return white && bradford(white, cmsD50_XYZ(), adaptation);
}

static bool chromaticity(const cmsMAT3 *restore, const cmsCIEXYZ *colour, double xy[2])
{
    const cmsVEC3 adapted = { { colour->X, colour->Y, colour->Z } };
    cmsVEC3 native;
    _cmsMAT3eval(&native, restore, &adapted);
    const double sum = native.n[0] + native.n[1] + native.n[2];
    if (!(fabs(sum) > 1e-6))
        return false;
    xy[0] = native.n[0] / sum;
    xy[1] = native.n[1] / sum;
    return true;
}

static bool primaries_near(const struct primaries *a, const struct primaries *b)
{
    const double *left = a->red, *right = b->red;
    for (size_t i = 0; i < sizeof *a / sizeof *left; i++)
        if (fabs(left[i] - right[i]) > SNAP_TOLERANCE)
            return false;
    return true;
}

/* Takes well-known primaries for ones that only rounding keeps apart from them. */
static void primaries_snap(struct primaries *primaries)
{
    static const char *const names[] = { "rec709", "rec2020", "p3d65", "acescg", "aces" };
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        const struct primaries *known = primaries_named(names[i]);
        if (known && primaries_near(primaries, known)) {
            *primaries = *known;
            return;
        }
    }
}

static bool primaries_read(cmsHPROFILE profile, struct primaries *primaries)
{
    const cmsCIEXYZ *red = cmsReadTag(profile, cmsSigRedColorantTag);
    const cmsCIEXYZ *green = cmsReadTag(profile, cmsSigGreenColorantTag);
    const cmsCIEXYZ *blue = cmsReadTag(profile, cmsSigBlueColorantTag);
    cmsMAT3 adaptation, restore;
    if (!red || !green || !blue || !adaptation_read(profile, &adaptation) || !_cmsMAT3inverse(&adaptation, &restore))
        return false;
    const cmsCIEXYZ white = { red->X + green->X + blue->X, red->Y + green->Y + blue->Y, red->Z + green->Z + blue->Z };
    if (!chromaticity(&restore, red, primaries->red) || !chromaticity(&restore, green, primaries->green) ||
        !chromaticity(&restore, blue, primaries->blue) || !chromaticity(&restore, &white, primaries->white))
        return false;
    primaries_snap(primaries);
    double matrix[9];
    return primaries_to_xyz(primaries, matrix);
}

static bool curves_read(cmsHPROFILE profile, const cmsTagSignature *tags, size_t count, struct encoding *encoding)
{
    for (size_t i = 0; i < count; i++) {
        const cmsToneCurve *curve = cmsReadTag(profile, tags[i]);
        struct encoding one;
        if (!curve || !curve_reduce(curve, &one))
            return false;
        if (i > 0 && !encoding_same(one, *encoding))
            return false;
        *encoding = one;
    }
    return true;
}

static bool profile_reduce(cmsHPROFILE profile, struct colour_claim *claim, const char **why)
{
    static const cmsTagSignature colour_tags[] = { cmsSigRedTRCTag, cmsSigGreenTRCTag, cmsSigBlueTRCTag };
    static const cmsTagSignature grey_tags[] = { cmsSigGrayTRCTag };
    const cmsColorSpaceSignature space = cmsGetColorSpace(profile);
    *why = "is built of tables, not of a matrix and curves";
    if (space == cmsSigGrayData) {
        if (!cmsIsTag(profile, cmsSigGrayTRCTag))
            return false;
        *why = "has a curve of its own";
        claim->has_encoding = curves_read(profile, grey_tags, 1, &claim->encoding);
        return claim->has_encoding;
    }
    if (space != cmsSigRgbData || !cmsIsMatrixShaper(profile))
        return false;
    *why = "has a curve of its own";
    if (!curves_read(profile, colour_tags, 3, &claim->encoding))
        return false;
    *why = "has impossible primaries";
    claim->has_encoding = claim->has_primaries = primaries_read(profile, &claim->primaries);
    return claim->has_encoding;
}

static void keep_quiet(cmsContext context, cmsUInt32Number code, const char *text)
{
    (void)context, (void)code, (void)text;
}

bool icc_reduce(const void *profile, size_t size, struct colour_claim *claim, const char **why)
{
    memset(claim, 0, sizeof *claim);
    *why = "is damaged";
    if (size > UINT32_MAX)
        return false;
    cmsContext context = cmsCreateContext(NULL, NULL);
    if (!context)
        return false;
    cmsSetLogErrorHandlerTHR(context, keep_quiet);
    bool done = false;
    cmsHPROFILE opened = cmsOpenProfileFromMemTHR(context, profile, (cmsUInt32Number)size);
    if (opened) {
        done = profile_reduce(opened, claim, why);
        cmsCloseProfile(opened);
    }
    cmsDeleteContext(context);
    if (!done)
        memset(claim, 0, sizeof *claim);
    return done;
}

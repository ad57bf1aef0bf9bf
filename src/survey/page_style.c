/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How a survey's page looks: neutral greys that leave the eye alone in a dark room, dark on light
 * where the reader ticks that (a set in daylight) and on paper. One column on a phone; on a desk, passes with faults
 * take the width, and good ones share it.
 */
#include <string.h>

#include "survey/page.h"

#define DARK_ON_LIGHT                                                                                                  \
    "{color-scheme:light;--ground:#efefed;--card:#fff;--line:#c9c9c6;--ink:#1b1b1b;--dim:#5a5a5a;--shoot:#a72f14;"     \
    "--care:#765300;--good:#1c6a57;--band:#a9b4bd;--within:#dbe7df}"

static const char colours[] =
    ":root{color-scheme:dark;--ground:#151515;--card:#1f1f1f;--line:#383838;--ink:#dedede;--dim:#a6a6a6;"
    "--shoot:#ff9478;--care:#edc55a;--good:#93cdbb;--band:#5d6770;--within:#2b332f}\n"
    ":root:has(#bright:checked)" DARK_ON_LIGHT "\n"
    "@media print{:root" DARK_ON_LIGHT "body{background:none}.light{display:none}"
    ".pass,.findings li{break-inside:avoid}}\n";

static const char page[] =
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--ground);color:var(--ink);font:1rem/1.5 system-ui,sans-serif;overflow-wrap:anywhere;"
    "font-variant-numeric:tabular-nums}\n"
    "header,main{max-width:74rem;margin:0 auto;padding:0 1rem}\n"
    "header{padding-top:.5rem}header p{margin:.25rem 0}\n"
    ".light{float:right;margin:.6rem 1rem;font-size:.85rem;color:var(--dim)}\n"
    ".place,.kind,.why,.where,small,figcaption,.key{color:var(--dim)}\n"
    "h1{font-size:clamp(1.7rem,7vw,2.6rem);line-height:1.15;margin:.2rem 0 .5rem}\n"
    "h2{font-size:1.2rem;margin:2.2rem 0 .7rem}h3{font-size:1.05rem;margin:0;line-height:1.35}\n"
    "small{font-size:.85em;font-weight:400}code{font-size:.95em}a{color:inherit;text-underline-offset:.2em}\n"
    ".mark{display:inline-block;width:1.1em;font-size:.85em}\n"
    ".shoot .mark,.shoot .verdict,header.shoot h1{color:var(--shoot)}\n"
    ".care .mark,.care .verdict,header.care h1{color:var(--care)}\n"
    ".good .mark,.good .verdict,header.good h1{color:var(--good)}\n"
    ".faults .shoot b,.faults .shoot .mark{color:var(--shoot)}.faults .care b,.faults .care .mark{color:var(--care)}\n"
    "ol,ul,dl,dd,figure{margin:0;padding:0}ol,ul{list-style:none}\n";

static const char parts[] =
    ".findings{display:grid;gap:.7rem;grid-template-columns:repeat(auto-fill,minmax(min(100%,26rem),1fr))}\n"
    ".findings li,.pass{background:var(--card);border-radius:.4rem;padding:.9rem 1rem;border-left:.3rem solid "
    "var(--good)}\n"
    ".findings .shoot,.pass.shoot{border-left-color:var(--shoot)}\n"
    ".findings .care,.pass.care{border-left-color:var(--care)}\n"
    ".findings p{margin:.2rem 0 0}.findings .advice{font-weight:600}\n"
    ".glance{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,10rem),1fr));gap:.6rem 1rem}\n"
    ".glance li{display:flex}.glance .mark{flex:none}.glance small{display:block}\n"
    ".pass{margin-bottom:1rem;scroll-margin-top:.5rem}.pass p{margin:.15rem 0}.pass .why{font-size:.85rem}\n"
    ".verdict{font-weight:600}.faults{margin:.5rem 0}\n"
    ".parts{display:grid;gap:1rem 1.6rem;margin-top:.8rem}\n"
    ".plots{display:grid;gap:1rem 1.6rem;align-content:start;"
    "grid-template-columns:repeat(auto-fill,minmax(min(100%,18rem),1fr))}\n"
    "@media (min-width:56rem){.parts{grid-template-columns:17rem 1fr}.passes.good{columns:2;column-gap:1rem}}\n"
    "@media (min-width:72rem){.passes.good{columns:3}}\n"
    ".passes.good .pass{break-inside:avoid}.passes.good .parts{grid-template-columns:1fr}\n"
    ".thumb div{position:relative;line-height:0;background:#000}\n"
    ".thumb img{width:100%;height:auto}.thumb .over{position:absolute;inset:0;width:100%;height:100%}\n"
    ".over path{stroke:#fff;stroke-width:.09}figcaption{font-size:.85rem;margin:.25rem 0}\n"
    ".figures{margin-top:.5rem}.figures div{display:flex;flex-wrap:wrap;justify-content:space-between;gap:0 1rem;"
    "padding:.2rem 0;border-top:1px solid var(--line)}\n"
    ".figures dt{color:var(--dim)}.figures dd{margin-left:auto}\n"
    "details{margin:2rem 0}summary{cursor:pointer;padding:.5rem 0;font-weight:600}\n"
    ".limits dt{font-weight:600;margin-top:.6rem}.key,.limits dd{font-size:.9rem;max-width:46rem}\n"
    "main{padding-bottom:3rem}\n";

static const char plots[] =
    ".plot svg{display:block;width:100%;max-width:30rem;font-size:11px}\n"
    ".plot text{fill:var(--dim);font-family:inherit}.plot path{fill:none;stroke-width:1.5}\n"
    ".plot .grid{stroke:var(--line);stroke-width:1}.plot .zero{stroke:var(--dim);stroke-width:1;stroke-dasharray:1 3}\n"
    ".plot .line{stroke:var(--ink)}.plot .dashed{stroke-dasharray:5 4}\n"
    ".plot .band{fill:var(--band);stroke:none;shape-rendering:crispEdges}.plot .bars{fill:var(--ink);stroke:none}\n"
    ".plot .within{fill:var(--within)}.plot .gap{fill:var(--shoot);opacity:.3}.plot .bad{fill:var(--shoot)}\n"
    ".plot .frame{fill:none;stroke:#fff;stroke-width:2;paint-order:stroke;outline:1px solid #000}\n";

void page_style(struct text *text)
{
    static const char *const sheets[] = { colours, page, parts, plots };
    for (size_t i = 0; i < sizeof sheets / sizeof *sheets; i++)
        text_add(text, sheets[i], strlen(sheets[i]));
}

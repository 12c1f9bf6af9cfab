#pragma once

namespace ringtrue {

/// The look of the drawings of found places, for any page: light and dark, paper without the screen's colours.
constexpr const char* places_style = R"css(
.places-drawing { --p-ink: var(--ink, #1f2428); --p-soft: var(--soft, #5b636b); --p-card: var(--card, #ffffff);
  --p-line: var(--line, #cfcabd); --p-level: var(--level, #0a625d); --p-above: var(--above, #a8480a);
  --p-below: var(--below, #63449a); --p-warn: var(--warn, #a11d1d);
  display: grid; gap: 1rem; align-items: start; grid-template-columns: repeat(auto-fit, minmax(min(100%, 22rem), 1fr)); }
.places-drawing figure { margin: 0; padding: 0.5rem; background: var(--p-card); border: 1px solid var(--p-line);
  border-radius: 0.5rem; break-inside: avoid; }
.places-drawing figcaption { font-weight: 600; padding: 0 0.25rem; color: var(--p-ink); }
.places-drawing p { margin: 0.4rem 0; color: var(--p-soft); grid-column: 1 / -1; }
.places-drawing svg { display: block; width: 100%; height: auto; max-height: 85vh; }
.places-drawing svg text { font: 13px system-ui, sans-serif; fill: var(--p-ink); stroke: none; }
.places-drawing svg .note { fill: var(--p-soft); }
.places-drawing svg text.label { font-weight: 600; paint-order: stroke; stroke: var(--p-card); stroke-width: 3px; }
.places-drawing svg .floor { stroke: var(--p-ink); stroke-width: 2; }
.places-drawing svg .ear-height { stroke: var(--p-soft); stroke-width: 1; stroke-dasharray: 2 4; }
.places-drawing svg .leader { stroke: var(--p-soft); stroke-width: 0.8; }
.places-drawing svg .scale { fill: none; stroke: var(--p-soft); stroke-width: 1.2; }
.places-drawing svg .listener { fill: var(--p-card); stroke: var(--p-ink); stroke-width: 1.5; }
.places-drawing svg .mic { fill: var(--p-soft); }
.places-drawing svg .allowed { fill: none; stroke-width: 5; opacity: 0.35; }
.places-drawing svg .nominal { fill: none; stroke-width: 1.4; opacity: 0.8; }
.places-drawing svg .level { stroke: var(--p-level); }
.places-drawing svg .above { stroke: var(--p-above); }
.places-drawing svg .below { stroke: var(--p-below); }
.places-drawing svg g.level, .places-drawing svg text.level { fill: var(--p-level); }
.places-drawing svg g.above, .places-drawing svg g.below { fill: var(--p-card); stroke-width: 1.8; }
.places-drawing svg g.below { stroke-dasharray: 3 2; }
.places-drawing svg text.above { fill: var(--p-above); }
.places-drawing svg text.below { fill: var(--p-below); }
.places-drawing svg .unsure { fill: var(--p-soft); fill-opacity: 0.15; stroke: var(--p-soft); stroke-width: 0.8; }
.places-drawing svg .unsure.wrong { fill: var(--p-warn); stroke: var(--p-warn); }
.places-drawing svg g.wrong { fill: var(--p-warn); stroke: var(--p-warn); }
.places-drawing svg text.wrong { fill: var(--p-warn); }
.places-drawing svg .way { stroke: var(--p-warn); stroke-width: 1.4; stroke-dasharray: 5 3; }
.places-drawing svg g.no-distance { fill: var(--p-card); opacity: 0.75; }
.places-drawing svg text.label.level, .places-drawing svg text.label.above, .places-drawing svg text.label.below,
.places-drawing svg text.label.wrong { stroke: var(--p-card); }
.places-drawing svg .cone { fill: var(--p-card); }
@media (prefers-color-scheme: dark) {
  .places-drawing { --p-ink: var(--ink, #e9e7e1); --p-soft: var(--soft, #a7adb3); --p-card: var(--card, #1c2024);
    --p-line: var(--line, #3b4147); --p-level: var(--level, #62cfc5); --p-above: var(--above, #f2a65f);
    --p-below: var(--below, #c0a4ee); --p-warn: var(--warn, #ff9a8f); } }
)css";

}  // namespace ringtrue

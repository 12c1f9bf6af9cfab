#pragma once

namespace ringtrue {

/// The look of the plan's page: system fonts, light and dark, paper without colours of the screen. Nothing is loaded.
constexpr const char* plan_page_style = R"css(
:root { color-scheme: light dark; --paper: #fbfaf7; --card: #ffffff; --ink: #1f2428; --soft: #5b636b; --line: #cfcabd;
  --level: #0a625d; --above: #a8480a; --below: #63449a; --sub: #4a5058; --warn: #a11d1d; }
@media (prefers-color-scheme: dark) { :root { --paper: #14171a; --card: #1c2024; --ink: #e9e7e1; --soft: #a7adb3;
  --line: #3b4147; --level: #62cfc5; --above: #f2a65f; --below: #c0a4ee; --sub: #b9c0c7; --warn: #ff9a8f; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 66rem; padding: 1rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, sans-serif; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0.5rem 0; }
h2 { font-size: 1.15rem; margin: 2rem 0 0.5rem; border-bottom: 2px solid var(--line); padding-bottom: 0.2rem; }
p { margin: 0.4rem 0; max-width: 44rem; }
ul { margin: 0.4rem 0; padding-left: 1.2rem; max-width: 44rem; }
li { margin: 0.3rem 0; }
.soft { color: var(--soft); }
.warn { color: var(--warn); font-weight: 600; }
.pictures { display: grid; gap: 1rem; align-items: start; grid-template-columns: repeat(auto-fit, minmax(min(100%, 22rem), 1fr)); }
figure { margin: 0; padding: 0.5rem; background: var(--card); border: 1px solid var(--line); border-radius: 0.5rem; }
figcaption { font-weight: 600; padding: 0 0.25rem; }
svg { display: block; width: 100%; height: auto; max-height: 85vh; }
svg text { font: 13px system-ui, sans-serif; fill: var(--ink); }
svg .note { fill: var(--soft); }
svg text.label { font-weight: 600; paint-order: stroke; stroke: var(--card); stroke-width: 3px; }
svg .room { fill: none; stroke: var(--ink); stroke-width: 2; }
svg .floor { stroke: var(--ink); stroke-width: 2; }
svg .ring { fill: none; stroke: var(--soft); stroke-width: 1; stroke-dasharray: 2 4; }
svg .ear-height { stroke: var(--soft); stroke-width: 1; stroke-dasharray: 2 4; }
svg .stand { stroke: var(--line); stroke-width: 1.5; }
svg .leader { stroke: var(--soft); stroke-width: 0.8; }
svg .scale { fill: none; stroke: var(--soft); stroke-width: 1.2; }
svg .listener { fill: var(--card); stroke: var(--ink); stroke-width: 1.5; }
svg .interface { fill: var(--soft); }
svg .allowed { fill: none; stroke-width: 5; opacity: 0.35; }
svg g.level, svg text.level { fill: var(--level); }
svg .level { stroke: var(--level); }
svg g.above { fill: var(--card); stroke-width: 1.8; }
svg .above { stroke: var(--above); }
svg text.above { fill: var(--above); }
svg g.below { fill: var(--card); stroke-width: 1.8; stroke-dasharray: 3 2; }
svg .below { stroke: var(--below); }
svg text.below { fill: var(--below); }
svg g.sub { fill: var(--sub); }
svg .sub { stroke: var(--sub); }
svg text.sub { fill: var(--sub); }
svg text.level, svg text.above, svg text.below, svg text.sub { stroke: var(--card); }
svg .cone { fill: var(--card); }
table { width: 100%; border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: 0.95rem; }
caption { text-align: left; color: var(--soft); padding-bottom: 0.3rem; }
th, td { text-align: left; vertical-align: top; padding: 0.35rem 0.5rem; border-bottom: 1px solid var(--line); }
thead th { font-size: 0.85rem; color: var(--soft); }
.who { font-weight: 600; }
.who span { display: block; font-weight: 400; color: var(--soft); font-size: 0.85rem; }
.ticks { list-style: none; padding: 0; columns: 20rem 2; max-width: none; }
.ticks label { display: flex; gap: 0.6rem; align-items: baseline; padding: 0.3rem 0; }
.ticks input { width: 1.1rem; height: 1.1rem; flex: none; }
@media (max-width: 44rem) {
  body { padding: 0.6rem; }
  figure { padding: 0.25rem; }
  svg text { font-size: 15px; }
  thead { position: absolute; clip-path: inset(50%); height: 1px; width: 1px; overflow: hidden; }
  tr { display: grid; grid-template-columns: 1fr 1fr; gap: 0.2rem 1rem; padding: 0.6rem 0;
    border-bottom: 1px solid var(--line); }
  th, td { border: 0; padding: 0; }
  th.who, td.wide { grid-column: 1 / -1; }
  td::before { content: attr(data-name); display: block; font-size: 0.8rem; color: var(--soft); }
}
@media print {
  :root { --paper: #fff; --card: #fff; --ink: #000; --soft: #444; --line: #999; --level: #064b47; --above: #8a3a06;
    --below: #4c3180; --sub: #333; --warn: #900; }
  body { font-size: 10pt; max-width: none; padding: 0; }
  h2 { break-after: avoid; }
  caption { break-after: avoid; }
  figure, tr, li { break-inside: avoid; }
  svg { max-height: 15cm; }
}
)css";

}  // namespace ringtrue

// How the report looks.
#pragma once

#include <string_view>

namespace rankwright::report {

/// Fits A4 and Letter alike: no page size is asked for. Everything that is told by a hue is told by
/// a shape and a word too.
inline constexpr std::string_view kStyle = R"css(
@page { margin: 14mm 15mm 16mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 8pt sans-serif; color: #444; } }
* { box-sizing: border-box; }
html { background: #fff; color: #111; }
body { font: 10.5pt/1.42 "DejaVu Sans", Arial, Helvetica, sans-serif; max-width: 186mm;
  margin: 0 auto; padding: 6mm 4mm; overflow-wrap: break-word; }
h1 { font-size: 19pt; line-height: 1.2; margin: 0 0 1mm; font-weight: 600; }
h2 { font-size: 13pt; margin: 7mm 0 2mm; padding-bottom: 0.8mm; border-bottom: 0.5pt solid #111;
  break-after: avoid; font-weight: 600; }
h3 { font-size: 10.5pt; margin: 0 0 0.5mm; break-after: avoid; font-weight: 600; }
p, ul { margin: 0 0 2mm; orphans: 3; widows: 3; }
ul { padding-left: 5mm; }
li { margin-bottom: 1mm; break-inside: avoid; }
.under { color: #333; }
.small { font-size: 9pt; color: #333; }
table.list { border-collapse: collapse; width: 100%; font-size: 9.5pt; margin: 0 0 2mm; }
table.list th { text-align: left; font-weight: 600; border-bottom: 0.5pt solid #111;
  vertical-align: bottom; }
table.list th, table.list td { padding: 0.8mm 3mm 0.8mm 0; vertical-align: top; }
table.list td { border-bottom: 0.3pt solid #aaa; }
table.list tr { break-inside: avoid; }
table.list .figure { text-align: right; }
table.list th.figure { padding-left: 2mm; }
table.list td.figure { white-space: nowrap; }
table.list td.rank { min-width: 44mm; max-width: 80mm; overflow-wrap: anywhere; }
table.list.fixed { table-layout: fixed; }
table.list.fixed td.rank { min-width: 0; }
table.list .time { white-space: nowrap; }
figure { margin: 0 0 4mm; break-inside: avoid; }
figure svg + h3 { margin-top: 2mm; }
figure svg { display: block; width: 100%; height: auto; }
section.keep { break-inside: avoid; }
.sheet { width: 100%; border-collapse: collapse; table-layout: fixed; }
.sheet > thead { display: none; }
.sheet > tbody > tr > td { padding: 0; }
.running { display: flex; justify-content: space-between; font-size: 8pt; color: #444;
  border-bottom: 0.3pt solid #888; padding-bottom: 1mm; margin-bottom: 4mm; }
.running span { overflow-wrap: anywhere; min-width: 0; }
.running span + span { flex: none; margin-left: 6mm; }
.sign { display: grid; grid-template-columns: 1fr 1fr; gap: 5mm 10mm; margin-top: 4mm; }
.sign div { border-top: 0.6pt solid #111; padding-top: 1mm; margin-top: 13mm; font-size: 9pt; }
svg text { font: 9px "DejaVu Sans", Arial, Helvetica, sans-serif; fill: #222; }
svg .scale { text-anchor: end; }
svg .side { font-weight: 600; font-size: 8.5px; }
svg .key { text-anchor: middle; }
svg .key.last { text-anchor: end; }
svg .beyond { text-anchor: middle; font-size: 8px; }
svg .grid { stroke: #bbb; stroke-width: 0.5; }
svg .target { stroke: #111; stroke-width: 0.9; }
svg .tick { stroke: #111; stroke-width: 0.7; }
svg .stem { stroke: #777; stroke-width: 0.8; }
svg .trend { stroke: #111; stroke-width: 0.9; stroke-dasharray: 5 3; }
svg .found { fill: #fff; stroke: #222; stroke-width: 1; }
svg .sharp { stroke: #9a4a00; }
svg .flat { stroke: #1c4f8f; }
svg .astray.sharp { fill: #9a4a00; }
svg .astray.flat { fill: #1c4f8f; }
svg .left, svg .held { fill: #111; }
svg .open { fill: none; stroke: #111; stroke-width: 1; }
svg .fault, svg .unreached { stroke: #111; stroke-width: 1.4; }
@media screen and (max-width: 640px) {
  body { font-size: 10pt; }
  table.list { font-size: 8.5pt; }
  table.list .time { white-space: normal; }
  table.list td.rank { min-width: 0; }
  table.list th, table.list td { padding-right: 1.5mm; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 10pt; }
  .sheet > thead { display: table-header-group; }
}
)css";

}  // namespace rankwright::report

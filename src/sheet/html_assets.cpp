#include "sheet/html_assets.h"

namespace sendworthy::sheet {

// Contrast of every text on its ground is 4.5 or more, of every line that carries meaning 3 or more (WCAG 2.2, 1.4.3, 1.4.11).
// No meaning hangs on colour alone: lines differ by dashes, marks and words by shape.
const std::string_view kPageStyle = R"css(
:root{--paper:#fbfaf6;--ink:#1c2125;--soft:#555d64;--rule:#d5d1c6;--one:#0a5873;--two:#8a4a06;--fail:#a01419;--warn:#785000;--pass:#1a5c39;--cell:#0a5873}
@media (prefers-color-scheme:dark){:root{--paper:#15181b;--ink:#ebe8e1;--soft:#aab1b7;--rule:#3a4046;--one:#74c8e4;--two:#eeb06b;--fail:#ff9a92;--warn:#f2c650;--pass:#86d9a8;--cell:#74c8e4}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:76rem;padding:1.2rem clamp(.8rem,3vw,2rem);background:var(--paper);color:var(--ink);font:1rem/1.5 Georgia,"DejaVu Serif",serif}
h1,h2,h3,h4,.verdict,table,.tools,nav,.tag,svg text{font-family:"DejaVu Sans",Verdana,sans-serif}
h1{font-size:1.15rem;margin:.2rem 0;overflow-wrap:anywhere}
h2{font-size:1.05rem;margin:1.6rem 0 .4rem;border-bottom:2px solid var(--rule);padding-bottom:.2rem;overflow-wrap:anywhere}
h3{font-size:1rem;margin:1.2rem 0 .3rem}
h4{font-size:.92rem;margin:0}
p{margin:.2rem 0}
a{color:var(--one)}
:focus-visible{outline:3px solid var(--one);outline-offset:2px}
.verdict{font-size:1.7rem;font-weight:700;margin:0}
.fail{color:var(--fail)}.warn{color:var(--warn)}.pass{color:var(--pass)}
.soft{color:var(--soft);font-size:.9rem}
ol.findings{list-style:none;margin:0;padding:0}
ol.findings>li{padding:.45rem 0 .45rem 2.6rem;border-top:1px solid var(--rule);position:relative;break-inside:avoid}
.number{position:absolute;left:0;top:.5rem;min-width:1.9rem;text-align:center;border:2px solid currentColor;font:700 .85rem/1.5 "DejaVu Sans",Verdana,sans-serif}
li.warn-row .number{border-style:dashed}li.note-row .number{border-style:dotted}
.head{font-weight:700;overflow-wrap:anywhere}
dl{margin:.1rem 0}
dl>div{display:grid;grid-template-columns:minmax(4.2rem,var(--label)) 1fr;gap:0 .8rem}
li button{padding:0 .5rem;min-height:1.5rem}
.about{--label:4.2rem}.facts{--label:14rem}
dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere}
.part{display:block}
@media (max-width:34rem){dl>div{display:block}dt{font-size:.85rem}ol.findings>li{padding-left:2.4rem}}
.passes{columns:20rem;column-gap:2rem;margin:0;padding:0;list-style:none;font-size:.92rem}
.passes li{break-inside:avoid;padding:.05rem 0;display:flex;justify-content:space-between;gap:1rem;border-bottom:1px dotted var(--rule)}
.passes span+span{flex:none;max-width:60%}
.pictures{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,32rem),1fr));gap:1rem 1.6rem}
figure{margin:0;break-inside:avoid;min-width:0}
figure:has(.square){display:grid;grid-template-columns:minmax(10rem,1fr) minmax(0,22rem);gap:0 1rem;align-items:start}
@media (max-width:40rem){figure:has(.square){display:block}}
figcaption h3{font-size:.92rem;margin:0}figcaption p{font-size:.9rem;color:var(--soft);overflow-wrap:anywhere}
/* Where there is more to either side, its edge is dark: what lies over the edge moves along with the content, the edge stays. */
.scroll{overflow-x:auto;background:linear-gradient(to right,var(--paper) 60%,transparent) 0 0/3rem 100% no-repeat local,linear-gradient(to left,var(--paper) 60%,transparent) 100% 0/3rem 100% no-repeat local,linear-gradient(to right,var(--soft) 3px,var(--rule) 3px,transparent) 0 0/1.2rem 100% no-repeat scroll,linear-gradient(to left,var(--soft) 3px,var(--rule) 3px,transparent) 100% 0/1.2rem 100% no-repeat scroll}
svg.plot{display:block;width:100%;min-width:30rem;height:auto}
svg.square{min-width:18rem;max-width:22rem}
svg text{fill:var(--ink);font-size:13px}
.lead{stroke:var(--soft);stroke-width:.8}
svg path.halo{stroke:var(--paper);stroke-width:5;stroke-opacity:.9}
svg .end{text-anchor:end}svg .mid{text-anchor:middle}
svg .tick,svg .label{fill:var(--soft)}svg .name{font-weight:700}
svg path{fill:none;vector-effect:non-scaling-stroke}
.rule{stroke:var(--rule);stroke-width:1}.axis{stroke:var(--soft);stroke-width:1}
.line,.key{stroke-width:1.5;stroke-linejoin:round}.line{stroke-linecap:round}
path.s0{stroke:var(--one)}path.s1{stroke:var(--two);stroke-dasharray:5 2.5}path.s2{stroke:var(--ink);stroke-dasharray:1.5 2.5}
svg path.band.s0,svg path.bars{fill:var(--one);stroke:none}svg path.band.s1{fill:var(--two);stroke:none}
.limit{stroke:var(--soft);stroke-width:1.4;stroke-dasharray:2 3}
svg path.limit.warn{stroke:var(--warn);stroke-dasharray:9 4}svg path.limit.fail{stroke:var(--fail);stroke-width:1.8;stroke-dasharray:none}
svg path.mark{stroke-width:2;stroke:currentColor;fill:currentColor;fill-opacity:.14}
svg path.mark.warn{stroke-dasharray:6 3}svg path.mark.note{stroke-dasharray:2 3;color:var(--ink)}svg path.mark.waived{stroke-dasharray:1 6;color:var(--soft);fill-opacity:.06}
svg path.cell{fill:var(--cell)}
svg.wide{min-width:46rem}svg.levels{min-width:36rem;max-width:52rem}
svg.wide text,svg.levels text{font-size:13.5px}svg .part{fill:var(--ink)}svg text.inverse{fill:var(--paper)}
svg .over{paint-order:stroke;stroke:var(--paper);stroke-width:4px}
.border{stroke-dasharray:1 3}.zero{stroke:var(--soft);stroke-width:1.4}
svg path.bar{fill:var(--one);fill-opacity:.22;stroke:var(--one);stroke-width:1}svg path.bar.most{fill-opacity:1}svg path.bar.least{fill-opacity:.06;stroke-dasharray:4 2}svg path.bar.thin{stroke-width:0}svg path.bar.thin.least{fill-opacity:.6}
.peak{stroke-width:2}
.level{stroke:var(--two);stroke-width:3}svg path.level.halo{stroke-width:7}.median{stroke:var(--two);stroke-width:1.6}svg path.wanted{fill:var(--pass);fill-opacity:.13;stroke:var(--pass);stroke-width:1.4;stroke-dasharray:2 3}.tenth{stroke:var(--two);stroke-width:1.6;stroke-dasharray:6 3}
.dots{stroke:var(--one);stroke-width:6;stroke-linecap:round}.crosses{stroke:var(--fail);stroke-width:2}
svg path.room{fill:var(--rule);fill-opacity:.45}svg path.share{fill:var(--cell);fill-opacity:.6}svg path.share.most{fill-opacity:1}
.slope{stroke:var(--one);stroke-width:1.6}.slope.most{stroke-width:3.2}.slope.gone{stroke:var(--fail);stroke-dasharray:5 3;stroke-width:2}
.wide-pictures figure{margin:1.4rem 0}.wide-pictures figure .scroll{margin:.2rem 0 0}
.meant{--label:6rem;margin:.4rem 0}.held{--label:16rem;font-size:.92rem}.held dt{overflow-wrap:anywhere}.held>div{border-bottom:1px dotted var(--rule);padding:.05rem 0}
.feeling{font-size:1.15rem;font-style:italic}
.numbers td,.numbers th{padding:.25rem .9rem .25rem 0}.numbers thead th{vertical-align:bottom;font-size:.82rem;min-width:3.6rem}
.numbers tbody th{min-width:8rem;max-width:16rem;overflow-wrap:anywhere}.numbers td{font-variant-numeric:tabular-nums}.numbers td.said{min-width:24rem}.numbers td.called{min-width:8rem;overflow-wrap:anywhere}.unit{display:block;font-weight:400;color:var(--soft)}.whole{white-space:nowrap}.numbers .soft{font-weight:400}
.tools{display:none;gap:.5rem;flex-wrap:wrap;margin:.3rem 0}
.tools.on{display:flex}
button:disabled{opacity:.45;cursor:default}
.shown{align-self:center;margin:0 .4rem}
button{font:inherit;font-size:.9rem;padding:.3rem .8rem;min-height:2rem;color:var(--ink);background:var(--paper);border:1.5px solid var(--soft);border-radius:0;cursor:pointer}
table{border-collapse:collapse;width:100%;font-size:.9rem}
th,td{text-align:left;padding:.3rem .8rem .3rem 0;border-bottom:1px solid var(--rule);vertical-align:top;}
td:first-child,td:nth-child(3),.changes td{overflow-wrap:anywhere}
.matrix td,.matrix th{padding:.25rem .7rem .25rem 0}.matrix thead th{vertical-align:bottom;min-width:5rem;font-size:.82rem}.matrix td a{color:inherit}
.blank{display:inline-block;min-width:14rem;border-bottom:1px solid var(--soft)}
@page{margin:10mm}
@media print{
:root{--paper:#fff;--ink:#000;--soft:#333;--rule:#bbb;--one:#0a4a60;--two:#7a4004;--fail:#8a0f14;--warn:#5c3d00;--pass:#124a2b;--cell:#0a4a60}
body{font-size:7pt;line-height:1.18;max-width:none;padding:0}
.tools,.tools.on,button,.back{display:none}
header p,.soft,.passes,table,figcaption p,.facts{font-size:6.6pt}
.verdict,header .verdict{font-size:13pt}h1{font-size:9pt;margin:0}h2{font-size:8.4pt;margin:1.2mm 0 .4mm;border-bottom-width:1px;padding-bottom:.2mm}h3{font-size:7.8pt;margin:1mm 0 .3mm}h4{font-size:7.2pt}
p{margin:0}header p{display:inline-block;margin-right:4mm}header .verdict{display:block}
ol.findings{columns:2;column-gap:5mm}
ol.findings>li{padding:.3mm 0 .3mm 7mm;border-top-width:.5px}
.number{top:.5mm;min-width:5.5mm;font-size:6.4pt;line-height:1.3;border-width:1px}
.about>div,.about dt,.about dd,.part{display:inline}
.about dt{font-style:italic}.about dt::after{content:": "}.about dd::after{content:" "}.about>div+div dt::before{content:"\2014  "}
.part+.part::before{content:"; "}
.pictures{grid-template-columns:1fr 1fr;gap:1mm 5mm}
svg.plot{min-width:0}svg.square{max-width:40mm}
figure:has(.square){display:grid;grid-template-columns:1fr 40mm;gap:3mm}
svg.wide,svg.levels{min-width:0}svg.wide{max-width:165mm}svg.levels{max-width:100mm}.wide-pictures figure{margin-bottom:2mm}.scroll{overflow:visible;background:none}.numbers td,.numbers th{padding:.2mm 2mm .2mm 0}.numbers thead th{min-width:0;font-size:5.6pt}.numbers td.said{min-width:0}.numbers tbody th,.numbers td.called{min-width:17mm}figcaption h3{font-size:7.4pt}h2,h3,h4{break-after:avoid}#pictures,#rest{break-before:auto}#song ol.findings{columns:auto;display:grid;grid-template-columns:1fr 1fr;gap:0 5mm}.wide-pictures figure,.wide-pictures .scroll{margin-top:0}.feeling{font-size:8.4pt}.held{--label:34mm;columns:2;font-size:6.6pt;break-inside:avoid}.numbers,.numbers .soft{font-size:6pt}
.passes{columns:4;column-gap:4mm}.passes li{padding:0;gap:1mm}
.facts{columns:2;column-gap:5mm;--label:26mm}.facts>div{break-inside:avoid}
.blank{min-width:30mm}
.dense,.dense .soft,.dense .passes,.dense figcaption p,.dense .facts{font-size:6.8pt;line-height:1.13}
.dense ol.findings>li{padding:.15mm 0 .2mm 6mm}
.dense .number{min-width:4.8mm;font-size:6pt}
.dense svg.plot{max-width:80mm}.dense svg.square{max-width:34mm}.dense figure:has(.square){grid-template-columns:1fr 34mm}
.dense .pictures{gap:.6mm 5mm}
.densest,.densest .soft,.densest .passes,.densest figcaption p,.densest .facts{font-size:6.3pt;line-height:1.1}
section.file+section.file,nav+section.file{break-before:page}
}
)css";

// Looking closer at the pictures over time, all together. Without it everything is there, only at one size.
const std::string_view kPageScript = R"js(
"use strict";
// What scrolls can be reached with the keyboard, and only that.
const scrolling = [...document.querySelectorAll(".scroll")];
const reach = () => scrolling.forEach((box) => box.toggleAttribute("tabindex", box.scrollWidth > box.clientWidth) && box.setAttribute("tabindex", "0"));
addEventListener("resize", reach);
reach();
// 1, 2, 5–7 of any numbers; other names as they are.
const joined = (names) => {
  const numbers = [...new Set(names.filter((n) => /^\d+$/.test(n)).map(Number))].sort((a, b) => a - b);
  const parts = [...new Set(names.filter((n) => !/^\d+$/.test(n)))];
  for (let i = 0, j; i < numbers.length; i = j + 1) {
    for (j = i; numbers[j + 1] === numbers[j] + 1; ++j);
    parts.push(j > i + 1 ? numbers[i] + "\u2013" + numbers[j] : numbers.slice(i, j + 1).join(", "));
  }
  return parts.join(", ");
};
for (const file of document.querySelectorAll("section.file")) {
  const plots = [...file.querySelectorAll("svg.time")].map((svg) => {
    const [first, last, low, high] = svg.dataset.x.split(" ").map(Number);
    const data = svg.querySelector("svg.data");
    const marks = [...svg.querySelectorAll("path.mark")].map((m) => ({at: Number(m.dataset.from), end: Number(m.dataset.to), name: m.dataset.n})).sort((a, b) => a.at - b.at);
    return {data, marks, edge: svg.viewBox.baseVal.width, first, last, low, high, box: data.getAttribute("viewBox").split(" ").map(Number), ticks: svg.querySelector(".xticks"), names: svg.querySelector(".marknames")};
  });
  const tools = file.querySelector(".tools");
  if (!plots.length || !tools) continue;
  const whole = plots[0].high - plots[0].low, narrow = Math.min(whole, .02);
  const buttons = Object.fromEntries([...tools.querySelectorAll("button[data-move]")].map((b) => [b.dataset.move, b]));
  const said = tools.querySelector(".shown");
  let from = 0, to = whole, came = null;
  const clock = (s, fine) => Math.floor(s / 60) + ":" + (s % 60).toFixed(fine).padStart(fine ? 3 + fine : 2, "0");
  const step = (raw) => [.001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600].find((s) => s >= raw) || 7200;
  const rename = (p, at) => {
    if (!p.names) return;
    const spare = p.names.querySelector("text").cloneNode(), seen = p.marks.filter((m) => m.end >= from && m.at <= to), words = [];
    for (let i = 0, j; i < seen.length; i = j) {
      const x = Math.max(p.first, at(seen[i].at)), group = [seen[i].name];
      for (j = i + 1; j < seen.length && at(seen[j].at) - x < 4 * joined(group).length + 12; ++j) group.push(seen[j].name);
      const word = spare.cloneNode(), half = 4 * joined(group).length;
      word.textContent = joined(group);
      word.setAttribute("x", Math.min(Math.max(x, half), p.edge - half).toFixed(1));
      words.push(word);
    }
    if (!words.length) {
      spare.textContent = "";
      words.push(spare);
    }
    p.names.replaceChildren(...words);
  };
  const show = (a, b, quiet) => {
    const width = Math.min(whole, Math.max(narrow, b - a));
    from = Math.min(Math.max(0, a), whole - width);
    to = from + width;
    const every = step(width / 6), fine = every < .01 ? 3 : every < .1 ? 2 : every < 1 ? 1 : 0;
    for (const p of plots) {
      const px = (p.last - p.first) / whole, at = (s) => p.first + (s - from) / width * (p.last - p.first);
      p.data.setAttribute("viewBox", [p.first + from * px, p.box[1], width * px, p.box[3]].join(" "));
      rename(p, at);
      const [rule, text] = [p.ticks.querySelector("path"), p.ticks.querySelector("text")];
      const y = text && text.getAttribute("y"), d = rule && rule.getAttribute("d");
      if (!text) continue;
      const spare = [rule.cloneNode(), text.cloneNode()];
      p.ticks.replaceChildren();
      for (let s = Math.ceil(from / every) * every; s <= to + 1e-9; s += every) {
        const line = spare[0].cloneNode(), word = spare[1].cloneNode();
        line.setAttribute("d", d.replace(/M[\d.]+/, "M" + at(s).toFixed(1)));
        word.textContent = clock(s, fine);
        const fits = at(s) + 4 * word.textContent.length < p.edge;
        word.setAttribute("class", fits ? "tick mid" : "tick end");
        word.setAttribute("x", (fits ? at(s) : p.edge - 1).toFixed(1));
        word.setAttribute("y", y);
        p.ticks.append(line, word);
      }
    }
    if (!quiet) state();
  };
  const state = () => {
    const all = to - from >= whole;
    said.textContent = all ? "" : clock(from, 2) + " to " + clock(to, 2);
    buttons.closer.disabled = to - from <= narrow;
    buttons.wider.disabled = buttons.all.disabled = all;
    buttons.earlier.disabled = from <= 0;
    buttons.later.disabled = to >= whole - 1e-9;
    // A sheet of two bounces has no findings to go back to.
    if (buttons.back) buttons.back.hidden = !came;
  };
  const moves = {
    closer: () => show(from + (to - from) / 4, to - (to - from) / 4),
    wider: () => show(from - (to - from) / 2, to + (to - from) / 2),
    earlier: () => show(from - (to - from) / 2, to - (to - from) / 2),
    later: () => show(from + (to - from) / 2, to + (to - from) / 2),
    all: () => show(0, whole),
    back: () => {
      const place = came;
      came = null;
      show(0, whole);
      place.scrollIntoView({block: "center"});
      place.focus();
    },
  };
  tools.classList.add("on");
  state();
  for (const [move, button] of Object.entries(buttons)) button.addEventListener("click", () => {
    moves[move]();
    // A button that has nothing left to do must not take the keyboard with it.
    if (button.disabled) (buttons.all.disabled ? buttons.closer : buttons.all).focus();
  });
  for (const place of file.querySelectorAll("button[data-place]")) {
    place.hidden = false;
    place.addEventListener("click", () => {
      const s = Number(place.dataset.place);
      came = place;
      show(s - 2, s + 2);
      file.querySelector("figure.picture").scrollIntoView({block: "center"});
      buttons.back.focus({preventScroll: true});
    });
  }
  // Paper shows the whole file, which is what the captions speak of.
  let kept = null;
  addEventListener("beforeprint", () => {
    kept = [from, to];
    show(0, whole, true);
  });
  addEventListener("afterprint", () => kept && show(...kept));
}
)js";

const std::string_view kPageStyleDigest = "sha256-71WAsDo3bDnlYtTXleYHYlKhomNOWYsHAaSL+nsrtQk=";
const std::string_view kPageScriptDigest = "sha256-bN39fVyTe3f/Te/KlrQ+12sWmPEOinls5PXrDNTNZPY=";

}  // namespace sendworthy::sheet

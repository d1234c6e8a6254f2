"""The style sheet of the handbook: light and dark, phone first, and paper."""

STYLE = """
:root {
  color-scheme: light dark;
  --paper: light-dark(#f7f5f0, #10191b);
  --sheet: light-dark(#ffffff, #182427);
  --ink: light-dark(#16262a, #e9e5db);
  --quiet: light-dark(#566468, #9fb0b3);
  --line: light-dark(#dcd7cb, #2c3c40);
  --water: light-dark(#1c6a75, #63bfca);
  --water-pale: light-dark(#cfe3e5, #1f4147);
  --stop: light-dark(#8a1f3d, #f08aa5);
  --stop-pale: light-dark(#f6e3e8, #3d1e29);
  --care: light-dark(#7d4e00, #e9b55c);
  --care-pale: light-dark(#f6ead2, #3a2e17);
  font: 1rem/1.5 system-ui, "Segoe UI", Roboto, sans-serif;
  font-variant-numeric: tabular-nums;
}
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 60rem; padding: 1.5rem 1rem 4rem; background: var(--paper);
  color: var(--ink); overflow-wrap: break-word; }
a { color: var(--water); text-underline-offset: .2em; }
:focus-visible { outline: 3px solid var(--water); outline-offset: 2px; }
.skip { position: absolute; left: -999px; }
.skip:focus { left: 1rem; top: 1rem; background: var(--sheet); padding: .5rem 1rem; }
h1 { font-size: clamp(1.35rem, 1rem + 1.6vw, 1.9rem); line-height: 1.25; font-weight: 650;
  margin: .25rem 0 1rem; text-wrap: balance; }
h2 { font-size: 1.35rem; line-height: 1.3; margin: 3rem 0 .5rem; text-wrap: balance; }
h3 { font-size: 1.05rem; line-height: 1.35; margin: 1.5rem 0 .4rem; text-wrap: balance; }
p, ul, dl { margin: .4rem 0; }
.asof { color: var(--quiet); margin: 0; }
.word { display: inline-block; padding: .05rem .5rem; border-radius: .3rem; font-size: .85rem;
  font-weight: 600; line-height: 1.5; white-space: nowrap; }
.word.stop { background: var(--stop-pale); color: var(--stop); }
.word.care { background: var(--care-pale); color: var(--care); }
.word.calm { background: var(--water-pale); color: var(--ink); }
.caution { border-left: 6px solid var(--care); background: var(--care-pale);
  padding: .6rem .9rem; border-radius: .3rem; margin: .75rem 0; }
.meanings { display: grid; gap: .35rem; margin: 1rem 0; }
.meanings div { display: flex; gap: .75rem; align-items: baseline; }
.meanings dt { flex: 0 0 4.5rem; } dd { margin: 0; }
.contents { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: 0 1.25rem; }
.contents a { display: inline-block; padding: .6rem 0; }
.glance ul { list-style: none; padding: 0; background: var(--sheet);
  border: 1px solid var(--line); border-radius: .5rem; }
.glance li { display: flex; gap: .75rem; align-items: baseline; padding: .6rem .9rem;
  border-bottom: 1px solid var(--line); }
.glance li:last-child { border: 0; }
.glance .word { flex: 0 0 4.5rem; text-align: center; }
.glance p { margin: 0; } .glance p a { font-weight: 600; } .glance p span { display: block; }
article { background: var(--sheet); border: 1px solid var(--line); border-left: 6px solid;
  border-radius: .5rem; padding: .9rem 1.1rem; margin: 1rem 0; }
article.stop { border-left-color: var(--stop); } article.care { border-left-color: var(--care); }
article.calm { border-left-color: var(--water); }
article h3 { margin: 0; display: flex; flex-wrap: wrap; gap: .25rem .75rem; align-items: baseline;
  justify-content: space-between; }
article:target { outline: 3px solid var(--water); outline-offset: 3px; }
.must { font-size: 1.15rem; line-height: 1.4; margin: .4rem 0 .75rem; max-width: 44rem; }
.facts { display: grid; grid-template-columns: 1fr; gap: 0 1rem; }
.facts dt { color: var(--quiet); font-size: .85rem; font-weight: 600; padding-top: .35rem; }
.facts ul { margin: 0; padding-left: 1.1rem; }
code { font: .85rem/1.5 ui-monospace, Consolas, monospace; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; }
.wide { border: 1px solid var(--line); border-radius: .5rem; margin: .6rem 0;
  background: var(--sheet); }
thead { position: absolute; left: -999px; }
tr { display: block; padding: .5rem .9rem; border-bottom: 1px solid var(--line); }
tr:last-child { border: 0; }
td { display: grid; grid-template-columns: 6.5rem 1fr; gap: .5rem; padding: .1rem 0; }
td::before { content: attr(data-of); color: var(--quiet); font-size: .85rem; font-weight: 600; }
@media (min-width: 40rem) {
  .facts { grid-template-columns: 9rem 1fr; } .facts dt { padding-top: .1rem; }
  thead { position: static; } tr { display: table-row; }
  th, td { display: table-cell; padding: .5rem .9rem; vertical-align: top; text-align: left; }
  th { color: var(--quiet); font-size: .85rem; font-weight: 600; white-space: nowrap;
    border-bottom: 1px solid var(--line); }
  td::before { content: none; }
  tr + tr td { border-top: 1px solid var(--line); }
}
@page { margin: 16mm 14mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 9pt system-ui, sans-serif; color: #566468; } }
@media print {
  :root { color-scheme: light; font-size: 9pt; line-height: 1.4; }
  body { background: #fff; max-width: none; padding: 0; }
  .skip, nav { display: none; }
  a { color: inherit; text-decoration: none; }
  .glance { columns: 2; column-gap: 1.25rem; } .glance h2 { column-span: all; }
  .glance ul { border: 0; } .glance li { padding: .35rem 0; }
  article { border-width: 0 0 0 4px; padding: 0 0 0 .8rem; margin: 1.1rem 0; }
  h2 { margin-top: 1.2rem; } .must { margin-bottom: .3rem; }
  .facts ul { list-style: none; padding: 0; } .facts li { display: inline; }
  .facts li + li::before { content: " · "; }
  .caution { padding: .3rem .7rem; margin: .4rem 0; } th, td { padding: .2rem .6rem; }
  .glance li, tr, .caution { break-inside: avoid; } p { orphans: 3; widows: 3; }
  h2, h3, thead, .must { break-after: avoid; }
  .chapter { break-before: page; }
  .word { border: 1px solid currentColor; }
  .caution, .word { print-color-adjust: exact; }
}
"""

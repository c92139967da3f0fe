"""Style and script of the HTML report; the document allows them by their hashes, and nothing else."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256

STYLE = """
:root { --ink: #15202a; --caption: #48535d; --rule: #8d979f; --paper: #ffffff; --allowed: #d6e7ee; --limit: #2f7391;
  --inside: #17607f; --outside: #aa420b; --on-outside: #ffffff; --band: #b4cfdb; --shade: #f1f4f5;
  color-scheme: light; }
@media screen and (prefers-color-scheme: dark) { :root { --ink: #e6ebee; --caption: #b3bdc4; --rule: #74808a;
  --paper: #12181d; --allowed: #1c3947; --limit: #6aaecb; --inside: #79bcd9; --outside: #f09a68; --on-outside: #12181d;
  --band: #2d5263; --shade: #1a2229; color-scheme: dark; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 "DejaVu Sans", Verdana, sans-serif; }
header, main, footer { max-width: 58rem; margin: 0 auto; padding: 0 1.2rem; }
header { padding-top: 1.6rem; }
a { color: var(--limit); }
.skip { position: absolute; left: -99rem; }
.skip:focus { left: 1rem; top: .4rem; background: var(--paper); padding: .3rem; }
.badge { display: inline-block; font-weight: bold; padding: .35rem 1rem; margin: 0 .8rem .4rem 0;
  letter-spacing: .02em; }
.holds { background: var(--allowed); border: 3px solid var(--inside); border-radius: 2rem; }
.fails { background: var(--outside); border: 3px solid var(--outside); color: var(--on-outside); }
.open { border: 3px dashed var(--ink); }
h1 { font-size: 1.45rem; line-height: 1.3; margin: .6rem 0 1rem; }
h2 { font-size: 1.05rem; border-top: 1px solid var(--rule); padding-top: .7rem; margin: 1.8rem 0 .3rem; }
h3 { font-size: 1rem; margin: .8rem 0 .1rem; }
p { margin: .3rem 0; }
.caption, figcaption, caption, footer { color: var(--caption); font-size: .88rem; text-align: left; }
.advice { display: grid; grid-template-columns: repeat(auto-fit, minmax(15rem, 1fr)); gap: 0 1.6rem; }
figure { margin: .8rem 0; }
figure svg { display: block; width: 100%; height: auto; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .92rem; margin: .4rem 0; }
th, td { text-align: left; padding: .22rem .7rem .22rem 0; border-bottom: 1px solid var(--allowed);
  vertical-align: top; }
td.number, th.number { text-align: right; padding-right: 1.4rem; }
tr.asked th, tr.asked td, tr.odd th, tr.odd td { font-weight: bold; }
th[scope=row] { font-weight: normal; overflow-wrap: anywhere; min-width: 7rem; }
button { font: inherit; font-size: .85rem; color: var(--ink); background: var(--shade); border: 1px solid var(--rule);
  border-radius: .3rem; padding: .15rem .5rem; margin: .1rem .25rem .1rem 0; cursor: pointer; }
button[aria-pressed=true] { background: var(--ink); color: var(--paper); }
button:focus-visible, a:focus-visible, summary:focus-visible, .wide:focus-visible, pre:focus-visible {
  outline: 3px solid var(--limit); outline-offset: 1px; }
.reading { cursor: pointer; }
.marked path { fill: var(--ink); fill-opacity: 1; stroke: var(--ink); stroke-width: 3px; }
svg.drag { touch-action: pan-y; }
pre { overflow: auto; max-height: 30rem; background: var(--shade); padding: .8rem; font-size: .8rem; }
footer { padding-bottom: 2rem; }
[hidden] { display: none; }
@media print { @page { size: A4; margin: 14mm; } body { font-size: 10pt; } .buttons, .skip, details { display: none; }
  figure, tr, .advice > div { break-inside: avoid; } h2 { break-after: avoid; }
  header, main, footer { max-width: none; padding: 0; } }
"""

# A sheet is printed and written on: it is the same on a dark screen.
SHEET_STYLE = """
:root { color-scheme: light; }
body { margin: 0; background: #ffffff; color: #15202a; font: 16px/1.5 "DejaVu Sans", Verdana, sans-serif; }
main { max-width: 62em; margin: 1em auto; }
svg { width: 100%; height: auto; }
pre { background: #f1f4f5; padding: .8em; overflow-x: auto; }
pre:focus-visible { outline: 3px solid #2f7391; outline-offset: 1px; }
.unseen { position: absolute; left: -99rem; }
@page { size: A4; margin: 0; }
@media print { main { margin: 0; } pre, .unseen { display: none; } }
"""

SCRIPT = """
(() => {
  const all = [...document.querySelectorAll('g.reading')], told = document.getElementById('told');
  const bar = document.querySelector('.buttons');
  if (!bar || !all.length) return;
  bar.hidden = false;
  const buttons = [...bar.querySelectorAll('button')];
  const show = (keys, words) => {
    for (const g of all) g.classList.toggle('marked', keys.has(g.dataset.k));
    told.textContent = words;
  };
  const press = (one) => { for (const b of buttons) b.setAttribute('aria-pressed', String(b === one)); };
  for (const b of buttons) b.addEventListener('click', () => {
    const off = b.getAttribute('aria-pressed') === 'true' || !b.dataset.keys;
    press(off ? null : b);
    const keys = new Set(off ? [] : b.dataset.keys.split(' '));
    show(keys, off ? 'No reading is marked.'
      : keys.size + ' readings of ' + b.textContent + ' are marked in both pictures.');
  });
  for (const g of all) g.addEventListener('click', () => {
    press(null);
    show(new Set([g.dataset.k]), g.querySelector('title').textContent);
  });
  for (const svg of document.querySelectorAll('svg')) {
    let from = null;
    const own = all.filter((g) => svg.contains(g));
    if (!own.length) continue;
    svg.classList.add('drag');
    svg.addEventListener('pointerdown', (e) => { from = e.clientX; });
    svg.addEventListener('pointerup', (e) => {
      if (from === null || Math.abs(e.clientX - from) < 6) { from = null; return; }
      const low = Math.min(from, e.clientX), high = Math.max(from, e.clientX), keys = new Set();
      for (const g of own) {
        const box = g.getBoundingClientRect(), x = (box.left + box.right) / 2;
        if (x >= low && x <= high) keys.add(g.dataset.k);
      }
      from = null;
      press(null);
      show(keys, keys.size + ' readings are marked in both pictures.');
    });
  }
})();
"""


def digest(text: str) -> str:
    """Return a hash as a content security policy takes it."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"

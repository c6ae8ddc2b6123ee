// Where things are, and how high the ground is there.
//
// The map library thinks in Mercator; the site's plane is laid flat around its equator, where a
// metre is a metre in every direction. So the map shows the run's own projection, undistorted.

const RADIUS_M = 6378137;
const DEGREES = 180 / Math.PI;

function toMap([x, y]) {
  return [(x / RADIUS_M) * DEGREES, (2 * Math.atan(Math.exp(y / RADIUS_M)) - Math.PI / 2) * DEGREES];
}

function fromMap(place) {
  const lat = place.lat / DEGREES;
  return [(place.lng / DEGREES) * RADIUS_M, Math.log(Math.tan(Math.PI / 4 + lat / 2)) * RADIUS_M];
}

const metresPerPixel = (zoom) => (2 * Math.PI * RADIUS_M) / (512 * 2 ** zoom);

/** True longitude and latitude, from the nodes around; null where the run has no CRS. */
function lonLat([x, y]) {
  const nodes = DATA.lonlat;
  if (!nodes) return null;
  const [[west, south], [east, north]] = DATA.bounds;
  const last = nodes.length - 1;
  const u = ((x - west) / (east - west)) * last;
  const v = ((y - south) / (north - south)) * last;
  const col = Math.min(Math.max(Math.floor(u), 0), last - 1);
  const row = Math.min(Math.max(Math.floor(v), 0), last - 1);
  const [fu, fv] = [u - col, v - row];
  return [0, 1].map((axis) => {
    const low = nodes[row][col][axis] * (1 - fu) + nodes[row][col + 1][axis] * fu;
    const high = nodes[row + 1][col][axis] * (1 - fu) + nodes[row + 1][col + 1][axis] * fu;
    return low * (1 - fv) + high * fv;
  });
}

/** Unpack [kind, parts] into GeoJSON; parts are flat lists of centimetre steps. */
function geometryOf([kind, parts]) {
  const unpack = (flat) => {
    const points = [];
    let [x, y] = [0, 0];
    for (let at = 0; at < flat.length; at += 2) {
      x += flat[at];
      y += flat[at + 1];
      points.push(toMap([x / 100, y / 100]));
    }
    return points;
  };
  if (kind === 0) return { type: "Point", coordinates: unpack(parts[0] || [0, 0])[0] };
  if (kind === 1) return { type: "MultiLineString", coordinates: parts.map(unpack) };
  return { type: "MultiPolygon", coordinates: parts.map((rings) => rings.map(unpack)) };
}

/** The plane coordinates of each line or ring of a row. */
function linesOfRow({ g: [kind, parts] }) {
  const unpack = (flat) => {
    let [x, y] = [0, 0];
    const points = [];
    for (let at = 0; at < flat.length; at += 2) {
      x += flat[at];
      y += flat[at + 1];
      points.push([x / 100, y / 100]);
    }
    return points;
  };
  return kind === 0 ? [] : (kind === 1 ? parts : parts.flat()).map(unpack);
}

/** Where a straight line crosses a row's lines: distances from its start, rising. */
function crossings(from, to, row) {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]];
  const length = Math.hypot(dx, dy);
  const found = [];
  for (const line of linesOfRow(row)) {
    for (let at = 1; at < line.length; at += 1) {
      const [[ax, ay], [bx, by]] = [line[at - 1], line[at]];
      const turn = dx * (by - ay) - dy * (bx - ax);
      if (turn === 0) continue;
      const along = ((ax - from[0]) * (by - ay) - (ay - from[1]) * (bx - ax)) / turn;
      const beside = ((ax - from[0]) * dy - (ay - from[1]) * dx) / turn;
      if (along >= 0 && along <= 1 && beside >= 0 && beside < 1) found.push(along * length);
    }
  }
  return found.sort((a, b) => a - b);
}

/** The surface that sections and levels are read from. */
class Surface {
  static async unpack(packed) {
    const bytes = Uint8Array.from(atob(packed.data), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    const planes = new Uint8Array(await new Response(stream).arrayBuffer());
    const { rows, cols } = packed;
    const count = rows * cols;
    const levels = new Uint16Array(count);
    for (let row = 0, at = 0; row < rows; row += 1) {
      let value = 0;
      for (let col = 0; col < cols; col += 1, at += 1) {
        value = (value + planes[at] + (planes[count + at] << 8)) & 0xffff;
        levels[at] = value;
      }
    }
    return new Surface(packed, levels);
  }

  constructor(packed, levels) {
    Object.assign(this, packed, { levels, data: null });
  }

  at(row, col) {
    const value = this.levels[row * this.cols + col];
    return value === this.none ? NaN : this.low + this.step * value;
  }

  /** Level between cell centres, bilinear; NaN off the data. */
  level([x, y]) {
    const edgeRow = (this.north - y) / this.cell;
    const edgeCol = (x - this.west) / this.cell;
    if (edgeRow < 0 || edgeCol < 0 || edgeRow > this.rows || edgeCol > this.cols) return NaN;
    const row = Math.min(Math.max(edgeRow - 0.5, 0), this.rows - 1);
    const col = Math.min(Math.max(edgeCol - 0.5, 0), this.cols - 1);
    const r = Math.min(Math.floor(row), Math.max(this.rows - 2, 0));
    const c = Math.min(Math.floor(col), Math.max(this.cols - 2, 0));
    const r1 = Math.min(r + 1, this.rows - 1);
    const c1 = Math.min(c + 1, this.cols - 1);
    const [v, u] = [row - r, col - c];
    const upper = this.at(r, c) * (1 - u) + this.at(r, c1) * u;
    const lower = this.at(r1, c) * (1 - u) + this.at(r1, c1) * u;
    return upper * (1 - v) + lower * v;
  }

  /** Distances and levels along a straight line, twice a cell, at most 2000 of them. */
  section(from, to) {
    const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
    const count = Math.min(2000, Math.max(2, Math.ceil((2 * length) / this.cell) + 1));
    return Array.from({ length: count }, (_, place) => {
      const share = place / (count - 1);
      const point = [from[0] + (to[0] - from[0]) * share, from[1] + (to[1] - from[1]) * share];
      return { along: length * share, level: this.level(point), point };
    });
  }

  /** How exact it is, in words. */
  words() {
    const kept = `Levels are kept to ${shown("level", Math.max(this.step / 2, 0.005))}`;
    if (this.thinned === 1) return `${kept} of the survey surface.`;
    return (
      `${kept} on every ${this.thinned}. cell; between them the page departs from the survey by` +
      ` ${shown("level", this.worst)} at most.`
    );
  }
}

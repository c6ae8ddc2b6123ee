// Line charts in SVG: a long section, and water levels by time.

/**
 * Draw lines over one another.
 * series: [{points: [[x, y], …], colour, width, dash}], NaN breaks a line; levels: [{y, words}].
 * marks: [{x, y, words}], points named above the line; those too near the last are not named.
 * xUnit, yUnit: [symbol, how many of it make one SI unit].
 * Returns how to find the place under the pointer and to mark one, and how much taller than wide
 * a unit is drawn.
 */
function drawChart(svg, { series, levels = [], marks = [], xUnit, yUnit, area = false }) {
  const [width, height] = [svg.clientWidth || 600, svg.clientHeight || 170];
  const edge = { left: 56, right: 14, top: 12, bottom: 30 };
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.replaceChildren();
  const points = series.flatMap((one) => one.points).filter(([, y]) => Number.isFinite(y));
  if (!points.length) return null;
  const xs = points.map(([x]) => x);
  const ys = [...points.map(([, y]) => y), ...levels.map(({ y }) => y)];
  const extent = (values) => values.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [1 / 0, -1 / 0]);
  const [x0, x1] = extent(xs);
  let [y0, y1] = extent(ys);
  const room = Math.max((y1 - y0) * 0.08, 0.05);
  [y0, y1] = [y0 - room, y1 + room];
  const toX = (x) => edge.left + ((x - x0) / (x1 - x0 || 1)) * (width - edge.left - edge.right);
  const toY = (y) => height - edge.bottom - ((y - y0) / (y1 - y0)) * (height - edge.top - edge.bottom);
  const text = (x, y, words, anchor) =>
    makeSvg("text", { x, y, "text-anchor": anchor, fill: cssColour("quiet"), "font-size": 11 }, words);
  const rule = (x, y, xx, yy) =>
    makeSvg("line", { x1: x, y1: y, x2: xx, y2: yy, stroke: cssColour("rule") });
  for (const [tick, words] of ticksOf(y0, y1, 4, yUnit)) {
    svg.append(rule(edge.left, toY(tick), width - edge.right, toY(tick)));
    svg.append(text(edge.left - 6, toY(tick) + 4, words, "end"));
  }
  for (const [tick, words] of ticksOf(x0, x1, Math.max(2, Math.floor(width / 130)), xUnit)) {
    svg.append(rule(toX(tick), height - edge.bottom, toX(tick), height - edge.bottom + 4));
    svg.append(text(toX(tick), height - edge.bottom + 17, words, "middle"));
  }
  for (const { y, words, colour } of levels) {
    svg.append(makeSvg("line", {
      x1: edge.left, x2: width - edge.right, y1: toY(y), y2: toY(y), stroke: colour,
      "stroke-dasharray": "5 3",
    }));
    svg.append(text(width - edge.right, toY(y) - 4, words, "end"));
  }
  for (const one of series) {
    const path = pathOf(one.points, toX, toY);
    if (area) {
      const floor = height - edge.bottom;
      const closed = `${path} L ${toX(x1)} ${floor} L ${toX(x0)} ${floor} Z`;
      svg.append(makeSvg("path", { d: closed, fill: one.colour, "fill-opacity": 0.16 }));
    }
    svg.append(makeSvg("path", {
      d: path, fill: "none", stroke: one.colour, "stroke-width": one.width || 1.8,
      "stroke-linejoin": "round",
    }));
  }
  let free = -Infinity;
  for (const { x, y, words } of [...marks].sort((a, b) => a.x - b.x)) {
    svg.append(makeSvg("circle", { cx: toX(x), cy: toY(y), r: 3.5, fill: cssColour("works") }));
    if (toX(x) < free) continue;
    const label = text(toX(x), Math.max(toY(y) - 8, 10), words, "middle");
    label.setAttribute("class", "mark");
    svg.append(label);
    free = toX(x) + words.length * 6 + 10;
  }
  const cursor = makeSvg("line", {
    y1: edge.top, y2: height - edge.bottom, stroke: cssColour("alarm"), visibility: "hidden",
  });
  svg.append(cursor);
  const share = (clientX) => {
    const frame = svg.getBoundingClientRect();
    const at = ((clientX - frame.left) / frame.width) * width;
    return Math.min(Math.max((at - edge.left) / (width - edge.left - edge.right), 0), 1);
  };
  const point = (x) => {
    cursor.setAttribute("visibility", "visible");
    cursor.setAttribute("x1", toX(x));
    cursor.setAttribute("x2", toX(x));
  };
  const exaggeration = ((toY(0) - toY(1)) / (toX(1) - toX(0)));
  return { share, point, exaggeration };
}

function pathOf(points, toX, toY) {
  let pen = "M";
  const parts = [];
  for (const [x, y] of points) {
    if (Number.isFinite(y)) {
      parts.push(`${pen} ${toX(x).toFixed(1)} ${toY(y).toFixed(1)}`);
      pen = "L";
    } else pen = "M";
  }
  return parts.join(" ");
}

/** Round places on an axis, round in the unit shown: [SI value, words]. */
function ticksOf(low, high, about, [symbol, perSi]) {
  const step = niceBelow(((high - low) * perSi) / about || 1);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const found = [];
  for (let count = Math.ceil((low * perSi) / step); count * step <= high * perSi + 1e-9; count += 1) {
    found.push([(count * step) / perSi, `${grouped(count * step, digits)}\u00a0${symbol}`]);
  }
  return found;
}

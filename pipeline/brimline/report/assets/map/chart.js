// Line charts in SVG: a long section, and water levels by time.

/**
 * Draw lines over one another.
 * series: [{points: [[x, y], …], colour, width, dash}], NaN breaks a line; levels: [{y, words}].
 * Returns the function that maps data to the chart, and the other way.
 */
function drawChart(svg, { series, levels = [], xWords, yWords, area = false }) {
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
  for (const tick of ticksOf(y0, y1, 4)) {
    svg.append(rule(edge.left, toY(tick), width - edge.right, toY(tick)));
    svg.append(text(edge.left - 6, toY(tick) + 4, yWords(tick), "end"));
  }
  for (const tick of ticksOf(x0, x1, Math.max(2, Math.floor(width / 130)))) {
    svg.append(rule(toX(tick), height - edge.bottom, toX(tick), height - edge.bottom + 4));
    svg.append(text(toX(tick), height - edge.bottom + 17, xWords(tick), "middle"));
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
  return { share, point, x0, x1 };
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

function ticksOf(low, high, about) {
  const step = niceBelow((high - low) / about || 1);
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high + 1e-9; at += step) {
    found.push(Math.round(at / step) * step);
  }
  return found;
}

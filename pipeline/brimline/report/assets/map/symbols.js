// Pictures for the map library: point marks, arrows and hatching, drawn anew for each theme.

const RATIO = 2;

function picture(size, draw) {
  const canvas = document.createElement("canvas");
  canvas.width = size * RATIO;
  canvas.height = size * RATIO;
  const pen = canvas.getContext("2d");
  pen.scale(RATIO, RATIO);
  draw(pen, size);
  return pen.getImageData(0, 0, canvas.width, canvas.height);
}

const OUTLINES = {
  circle: (pen, c, r) => pen.arc(c, c, r, 0, 2 * Math.PI),
  square: (pen, c, r) => pen.rect(c - r, c - r, 2 * r, 2 * r),
  triangle: (pen, c, r) => {
    pen.moveTo(c - r, c - 0.8 * r);
    pen.lineTo(c + r, c - 0.8 * r);
    pen.lineTo(c, c + r);
    pen.closePath();
  },
  diamond: (pen, c, r) => {
    pen.moveTo(c, c - 1.2 * r);
    pen.lineTo(c + 1.2 * r, c);
    pen.lineTo(c, c + 1.2 * r);
    pen.lineTo(c - 1.2 * r, c);
    pen.closePath();
  },
  cross: (pen, c, r) => {
    pen.moveTo(c - r, c - r);
    pen.lineTo(c + r, c + r);
    pen.moveTo(c + r, c - r);
    pen.lineTo(c - r, c + r);
  },
};

function markPicture([ink, shape, size]) {
  return picture(size * 1.3 + 6, (pen, whole) => {
    pen.beginPath();
    OUTLINES[shape](pen, whole / 2, size / 2);
    pen.lineWidth = 3;
    pen.strokeStyle = cssColour("paper");
    pen.stroke();
    if (shape === "cross") {
      pen.lineWidth = 1.4;
      pen.strokeStyle = inkOf(ink);
      pen.stroke();
    } else {
      pen.fillStyle = inkOf(ink);
      pen.fill();
    }
  });
}

function arrowPicture(ink) {
  return picture(16, (pen) => {
    pen.beginPath();
    pen.moveTo(14, 8);
    pen.lineTo(3, 12.5);
    pen.lineTo(3, 3.5);
    pen.closePath();
    pen.lineWidth = 2;
    pen.strokeStyle = cssColour("paper");
    pen.stroke();
    pen.fillStyle = inkOf(ink);
    pen.fill();
  });
}

function hatchPicture(ink) {
  return picture(10, (pen) => {
    pen.strokeStyle = inkOf(ink);
    pen.lineWidth = 1.1;
    pen.beginPath();
    for (const shift of [-10, 0, 10]) {
      pen.moveTo(shift, 10);
      pen.lineTo(shift + 10, 0);
    }
    pen.stroke();
  });
}

/** A small picture of a rule for legends. */
function swatch(rule, kind) {
  const svg = makeSvg("svg", { viewBox: "0 0 28 14", width: 28, height: 14, "aria-hidden": "true" });
  const stroke = rule.line && {
    stroke: inkOf(rule.line[0]),
    "stroke-width": Math.min(rule.line[1], 3),
    "stroke-dasharray": rule.line[2].join(" "),
  };
  if (kind === 2) {
    const fill = rule.fill
      ? { fill: inkOf(rule.fill[0]), "fill-opacity": rule.fill[2] ? 0.3 : rule.fill[1] }
      : { fill: "none" };
    svg.append(makeSvg("rect", { x: 1.5, y: 1.5, width: 25, height: 11, ...fill, ...stroke }));
  } else if (kind === 1 && stroke) {
    svg.append(makeSvg("line", { x1: 0, y1: 7, x2: 28, y2: 7, ...stroke }));
  } else if (rule.mark) {
    const [ink, shape, size] = rule.mark;
    const r = Math.min(size, 10) / 2;
    const path = {
      circle: `M ${14 - r} 7 a ${r} ${r} 0 1 0 ${2 * r} 0 a ${r} ${r} 0 1 0 ${-2 * r} 0 Z`,
      square: `M ${14 - r} ${7 - r} h ${2 * r} v ${2 * r} h ${-2 * r} Z`,
      triangle: `M ${14 - r} ${7 - r} h ${2 * r} l ${-r} ${2 * r} Z`,
      diamond: `M 14 ${7 - r} l ${r} ${r} l ${-r} ${r} l ${-r} ${-r} Z`,
      cross: `M ${14 - r} ${7 - r} l ${2 * r} ${2 * r} m 0 ${-2 * r} l ${-2 * r} ${2 * r}`,
    }[shape];
    const colour = inkOf(ink);
    svg.append(makeSvg("path", { d: path, fill: shape === "cross" ? "none" : colour, stroke: colour }));
  }
  return svg;
}

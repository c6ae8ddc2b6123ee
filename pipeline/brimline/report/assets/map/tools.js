// Tools: a long section where a line is dragged, and measuring. Both work by keyboard: with the
// map in focus, arrow keys move it under the cross and Enter sets a point.

const CROSSED = ["swale_lines", "drain_lines", "keylines", "elements"];

/** Names beside each other in a section must be short, or few find room. */
const shortTitle = (layer, row) =>
  titleOf(layer, row).replace(/^Proposed (.)/, (_, first) => first.toUpperCase());

function startTools(map, surface) {
  const state = { tool: "", points: [], dragging: false, section: null };
  const bench = byId("bench");
  const buttons = [...document.querySelectorAll("[data-tool]")];

  const draw = () => {
    const features = state.points.map((point) => feature("Point", toMap(point)));
    if (state.points.length > 1) features.push(feature("LineString", state.points.map(toMap)));
    map.getSource("drawn")?.setData({ type: "FeatureCollection", features });
  };
  const feature = (type, coordinates) => ({
    type: "Feature", properties: {}, geometry: { type, coordinates },
  });

  const choose = (tool) => {
    state.tool = state.tool === tool ? "" : tool;
    state.points = [];
    state.section = null;
    for (const button of buttons) {
      button.setAttribute("aria-pressed", String(button.dataset.tool === state.tool));
    }
    bench.hidden = !state.tool;
    if (state.tool === "section") map.dragPan.disable();
    else map.dragPan.enable();
    for (const pane of bench.querySelectorAll("[data-pane]")) {
      pane.hidden = pane.dataset.pane !== state.tool;
    }
    if (state.tool) {
      byId("bench-title").textContent = buttons.find((b) => b.dataset.tool === state.tool).textContent;
    }
    tell();
    map.resize({ middleStays: true });
    draw();
    document.dispatchEvent(new CustomEvent("tool", { detail: state.tool }));
  };

  const tell = () => {
    if (state.tool === "section") tellSection();
    else if (state.tool === "measure") tellMeasure();
  };

  const tellSection = () => {
    const said = byId("section-said");
    const chart = byId("section-chart");
    if (!surface) {
      said.textContent = "This run holds no elevation, or this browser cannot unpack it.";
      return;
    }
    if (state.points.length < 2) {
      chart.replaceChildren();
      said.textContent = state.points.length
        ? "Now the other end: move the map with the arrow keys and press Enter, or drag."
        : "Drag a line on the map. By keyboard: focus the map, move it with the arrow keys, and press Enter at each end.";
      return;
    }
    const samples = surface.section(...state.points);
    state.section = samples;
    const known = samples.filter(({ level }) => Number.isFinite(level));
    if (!known.length) {
      said.textContent = "The line lies off the data.";
      return;
    }
    const last = samples[samples.length - 1];
    const levels = known.map(({ level }) => level);
    said.textContent =
      `Length ${shown("length", last.along)}; from ${shown("level", known[0].level)} to ` +
      `${shown("level", known[known.length - 1].level)}; lowest ${shown("level", Math.min(...levels))}, ` +
      `highest ${shown("level", Math.max(...levels))}. ${surface.words()}`;
    const tools = drawChart(chart, {
      series: [{ points: samples.map(({ along, level }) => [along, level]), colour: cssColour("ink") }],
      xUnit: DATA.shown.length,
      yUnit: DATA.shown.level,
      area: true,
      marks: crossed(...state.points),
    });
    if (tools && tools.exaggeration > 1.05) {
      said.textContent += ` Heights are drawn ${tools.exaggeration.toPrecision(2)} times larger than lengths.`;
    }
    chart.onpointermove = (event) => {
      if (!tools) return;
      const near = samples[Math.round(tools.share(event.clientX) * (samples.length - 1))];
      tools.point(near.along);
      byId("section-at").textContent = Number.isFinite(near.level)
        ? `${shown("length", near.along)} along: ${shown("level", near.level)}`
        : `${shown("length", near.along)} along: no data`;
    };
  };

  /** Designed things that the section crosses, where they are switched on. */
  const crossed = (from, to) =>
    DATA.layers
      .filter(({ name }) => CROSSED.includes(name) && byId(`on-${name}`).checked)
      .flatMap((layer) =>
        layer.rows.flatMap((row) =>
          crossings(from, to, row).map((along) => ({ x: along, words: shortTitle(layer, row) })),
        ),
      )
      .map((mark) => ({ ...mark, y: surface.level(pointAt(from, to, mark.x)) }))
      .filter(({ y }) => Number.isFinite(y));

  const pointAt = ([x0, y0], [x1, y1], along) => {
    const share = along / Math.hypot(x1 - x0, y1 - y0);
    return [x0 + (x1 - x0) * share, y0 + (y1 - y0) * share];
  };

  const tellMeasure = () => {
    const { points } = state;
    const said = byId("measure-said");
    if (points.length < 2) {
      said.textContent = points.length
        ? "Add the next point. Backspace takes the last one away, Escape ends."
        : "Click points on the map. By keyboard: focus the map, move it with the arrow keys, and press Enter for each point.";
      return;
    }
    let length = 0;
    let twice = 0;
    points.forEach(([x, y], at) => {
      if (at) length += Math.hypot(x - points[at - 1][0], y - points[at - 1][1]);
      const [nx, ny] = points[(at + 1) % points.length];
      twice += x * ny - nx * y;
    });
    const parts = [`Length ${shown("length", length)}`];
    if (points.length > 2) parts.push(`area inside ${shownArea(Math.abs(twice) / 2)}`);
    if (surface) {
      const rise = surface.level(points[points.length - 1]) - surface.level(points[0]);
      if (Number.isFinite(rise)) {
        parts.push(`${rise < 0 ? "fall" : "rise"} ${shown("level", Math.abs(rise))}`);
        if (length > 0) parts.push(`mean ${shown("slope", (100 * Math.abs(rise)) / length)}`);
      }
    }
    said.textContent = `${parts.join("; ")}. Measured on the ground plan.`;
  };

  const addPoint = (point) => {
    if (state.tool === "section" && state.points.length > 1) state.points = [];
    state.points.push(point);
    draw();
    tell();
  };

  const press = (event) => {
    if (state.tool !== "section" || (event.points && event.points.length > 1)) return;
    state.dragging = true;
    state.points = [fromMap(event.lngLat)];
    draw();
  };
  const drag = (event) => {
    if (!state.dragging) return;
    state.points = [state.points[0], fromMap(event.lngLat)];
    draw();
    tell();
  };
  const release = () => {
    if (!state.dragging) return;
    state.dragging = false;
    tell();
  };
  map.on("mousedown", press);
  map.on("touchstart", press);
  map.on("mousemove", drag);
  map.on("touchmove", drag);
  map.on("mouseup", release);
  map.on("touchend", release);
  map.on("click", (event) => {
    if (state.tool === "measure") addPoint(fromMap(event.lngLat));
  });

  map.getCanvas().addEventListener("keydown", (event) => {
    if (event.key === "Enter") {
      if (state.tool === "section" || state.tool === "measure") {
        addPoint(fromMap(map.getCenter()));
      } else showThings(map, thingsAt(map, map.project(map.getCenter()), 8), { focus: true });
      event.preventDefault();
    } else if (event.key === "Backspace" && state.points.length) {
      state.points.pop();
      draw();
      tell();
      event.preventDefault();
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    if (!byId("card").hidden) closeCard(map);
    else if (state.tool) choose(state.tool);
  });
  for (const button of buttons) button.addEventListener("click", () => choose(button.dataset.tool));
  byId("close-bench").addEventListener("click", () => choose(state.tool));
  window.addEventListener("resize", tell);
  return {
    isBusy: () => state.tool === "section" || state.tool === "measure",
    redraw: () => {
      draw();
      tell();
    },
    state,
  };
}

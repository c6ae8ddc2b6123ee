// The map itself: ground, pictures upon it, and the run's layers with their switches.

const corners = ([[west, south], [east, north]]) =>
  [[west, north], [east, north], [east, south], [west, south]].map(toMap);
const box = ([low, high]) => [toMap(low), toMap(high)];
const kindOf = (layer) => layer.rows.reduce((most, row) => Math.max(most, row.g[0]), 0);

function startMap() {
  const map = new maplibregl.Map({
    container: "map",
    style: { version: 8, sources: {}, layers: [] },
    bounds: box(DATA.design || DATA.start),
    fitBoundsOptions: { padding: 30 },
    attributionControl: false,
    canvasContextAttributes: { preserveDrawingBuffer: true, antialias: true },
    maxZoom: 23,
    minZoom: 8,
    maxPitch: 0,
    dragRotate: false,
    pitchWithRotate: false,
    renderWorldCopies: false,
    fadeDuration: 0,
  });
  map.getContainer().append(make("div", { id: "cross", "aria-hidden": "true" }));
  map.touchZoomRotate.disableRotation();
  map.keyboard.disableRotation();
  holdGround(map);
  return map;
}

/**
 * Leave the ground where it is on the screen when a panel beside the map grows or shrinks, or a
 * line of words more would move it between two clicks. Where a tool opens, or the window changes,
 * the middle of the map stays in the middle instead.
 */
function holdGround(map) {
  const look = () => {
    const { left, right, top, bottom } = map.getContainer().getBoundingClientRect();
    return { x: (left + right) / 2, y: (top + bottom) / 2, window: `${innerWidth} ${innerHeight}` };
  };
  let last = look();
  map.on("resize", ({ middleStays }) => {
    const now = look();
    const [dx, dy] = [now.x - last.x, now.y - last.y];
    const isPanel = now.window === last.window && !middleStays;
    last = now;
    if (isPanel && (dx || dy)) map.panBy([dx, dy], { animate: false });
  });
}

/** Build the whole style for the present theme; switches keep what they were. */
function styleOf(isOn, overlay, over) {
  const style = { version: 8, sources: {}, layers: [] };
  const add = (layer) => style.layers.push(layer);
  add({ id: "paper", type: "background", paint: { "background-color": cssColour("paper") } });
  const raster = (id, url, visible, opacity) => {
    style.sources[id] = { type: "image", url, coordinates: corners(DATA.bounds) };
    add({
      id,
      type: "raster",
      source: id,
      layout: { visibility: visible ? "visible" : "none" },
      paint: {
        "raster-fade-duration": 0,
        "raster-opacity": opacity,
        "raster-brightness-max": isDark() ? 0.5 : 1,
      },
    });
  };
  if (DATA.ground) raster("ground", DATA.ground, true, 1);
  for (const picture of DATA.overlays) {
    raster(`over/${picture.name}`, picture.image, overlay === picture.name, 0.62);
  }
  for (const picture of DATA.offers) {
    raster(`offer/${picture.name}`, picture.image, over.has(picture.name), 0.5);
  }
  for (const layer of DATA.layers) {
    style.sources[layer.name] = { type: "geojson", data: collectionOf(layer), tolerance: 0.2 };
  }
  const visibility = (layer) => ({ visibility: isOn(layer.name) ? "visible" : "none" });
  for (const part of [areasOf, linesOf, marksOf, labelsOf]) {
    for (const layer of DATA.layers) part(layer, visibility(layer)).forEach(add);
  }
  const empty = { type: "FeatureCollection", features: [] };
  for (const id of ["picked", "drawn", "here", "notes"]) style.sources[id] = { type: "geojson", data: empty };
  for (const id of ["picked", "drawn"]) add(strongLine(id));
  add({
    id: "drawn/points",
    type: "circle",
    source: "drawn",
    filter: ["==", ["geometry-type"], "Point"],
    paint: {
      "circle-radius": 5,
      "circle-color": cssColour("alarm"),
      "circle-stroke-color": cssColour("paper"),
      "circle-stroke-width": 2,
    },
  });
  fieldLayers().forEach(add);
  return style;
}

/** One's own position with the circle that it lies in, the way to what is picked, and notes. */
function fieldLayers() {
  const own = cssColour("water");
  const ring = { "circle-stroke-color": cssColour("paper"), "circle-stroke-width": 2 };
  const of = (id, type, source, kind, paint) => ({
    id, type, source, paint, filter: ["==", ["geometry-type"], kind],
  });
  return [
    of("here/circle", "fill", "here", "Polygon", { "fill-color": own, "fill-opacity": 0.18 }),
    of("here/way", "line", "here", "LineString", { "line-color": own, "line-width": 3, "line-dasharray": [2, 1.5] }),
    of("here/point", "circle", "here", "Point", { "circle-radius": 7, "circle-color": own, ...ring }),
    of("notes/point", "circle", "notes", "Point", { "circle-radius": 7, "circle-color": cssColour("ink"), ...ring }),
  ];
}

function strongLine(id) {
  return {
    id: `${id}/line`,
    type: "line",
    source: id,
    layout: { "line-cap": "round", "line-join": "round" },
    paint: {
      "line-color": cssColour(id === "drawn" ? "alarm" : "ink"),
      "line-width": id === "drawn" ? 2.5 : 6,
      "line-opacity": id === "drawn" ? 1 : 0.45,
    },
  };
}

function collectionOf(layer) {
  return {
    type: "FeatureCollection",
    features: layer.rows.map((row, i) => ({
      type: "Feature",
      id: i,
      properties: { i, r: row.r, k: row.g[0], l: row.l || "" },
      geometry: geometryOf(row.g),
    })),
  };
}

const only = (rule, ...kinds) => [
  "all",
  ["==", ["get", "r"], rule],
  ["in", ["get", "k"], ["literal", kinds]],
];

function areasOf(layer, layout) {
  if (kindOf(layer) < 2) return [];
  return layer.rules.flatMap((rule, r) => {
    if (!rule.fill) return [];
    const [ink, opacity, hatch] = rule.fill;
    const paint = hatch
      ? { "fill-pattern": `hatch/${ink[0]}` }
      : { "fill-color": inkOf(ink), "fill-opacity": opacity };
    const id = `${layer.name}/${r}/fill`;
    return [{ id, type: "fill", source: layer.name, filter: only(r, 2), layout, paint }];
  });
}

function linesOf(layer, layout) {
  if (kindOf(layer) < 1) return [];
  return layer.rules.flatMap((rule, r) => {
    if (!rule.line) return [];
    const [ink, width, dash, arrow] = rule.line;
    const filter = only(r, 1, 2);
    const base = { type: "line", source: layer.name, filter };
    const found = [];
    if (width >= 1.6) {
      found.push({
        ...base,
        id: `${layer.name}/${r}/casing`,
        layout: { ...layout, "line-join": "round" },
        paint: { "line-color": cssColour("paper"), "line-width": width + 2, "line-opacity": 0.6 },
      });
    }
    const paint = { "line-color": inkOf(ink), "line-width": width };
    if (dash.length) paint["line-dasharray"] = dash.map((length) => length / width);
    const joined = { ...layout, "line-join": "round" };
    found.push({ ...base, id: `${layer.name}/${r}/line`, layout: joined, paint });
    if (arrow) {
      found.push({
        id: `${layer.name}/${r}/arrow`,
        type: "symbol",
        source: layer.name,
        filter: only(r, 1),
        layout: {
          ...layout,
          "symbol-placement": "line",
          "symbol-spacing": 120,
          "icon-image": `arrow/${ink[0]}`,
          "icon-allow-overlap": true,
          "icon-ignore-placement": true,
        },
      });
    }
    return found;
  });
}

function marksOf(layer, layout) {
  return layer.rules.flatMap((rule, r) =>
    rule.mark
      ? [
          {
            id: `${layer.name}/${r}/mark`,
            type: "symbol",
            source: layer.name,
            filter: only(r, 0),
            layout: {
              ...layout,
              "icon-image": `mark/${rule.mark[1]}/${rule.mark[0][0]}`,
              "icon-allow-overlap": true,
            },
          },
        ]
      : [],
  );
}

function labelsOf(layer, layout) {
  const kind = kindOf(layer);
  if (!layer.rows.some((row) => row.l)) return [];
  const own = layer.name === "contours" ? inkOf(layer.rules[0].line[0]) : cssColour("ink");
  return [
    {
      id: `${layer.name}/labels`,
      type: "symbol",
      source: layer.name,
      filter: ["!=", ["get", "l"], ""],
      layout: {
        ...layout,
        "text-field": ["get", "l"],
        "text-font": ["sans-serif"],
        "text-size": 12,
        "symbol-placement": kind === 1 ? "line" : "point",
        ...(kind === 1
          ? { "symbol-spacing": 300 }
          : kind === 0
            ? { "text-variable-anchor": ["left", "right", "top", "bottom"], "text-radial-offset": 0.9 }
            : {}),
      },
      paint: {
        "text-color": own,
        "text-halo-color": cssColour("paper"),
        "text-halo-width": 1.6,
      },
    },
  ];
}

function addPictures(map) {
  const put = (id, content) => {
    if (map.hasImage(id)) map.removeImage(id);
    map.addImage(id, content, { pixelRatio: RATIO });
  };
  for (const layer of DATA.layers) {
    for (const { line, fill, mark } of layer.rules) {
      if (line && line[3]) put(`arrow/${line[0][0]}`, arrowPicture(line[0]));
      if (fill && fill[2]) put(`hatch/${fill[0][0]}`, hatchPicture(fill[0]));
      if (mark) put(`mark/${mark[1]}/${mark[0][0]}`, markPicture(mark));
    }
  }
}

/** Switches in the panel: a group of layers each, and the pictures of the ground. */
function buildSwitches(onLayer, onOverlay, onOffer) {
  const panel = byId("switches");
  const groups = new Map();
  for (const theme of DATA.themes) {
    if (!DATA.layers.some((layer) => layer.group === theme)) continue;
    groups.set(theme, make("fieldset", {}, make("legend", {}, theme)));
    panel.append(groups.get(theme));
  }
  for (const layer of DATA.layers) {
    const input = make("input", { type: "checkbox", id: `on-${layer.name}`, checked: startsOn(layer) });
    input.addEventListener("change", () => onLayer(layer.name, input.checked));
    const count = make("span", { class: "count" }, String(layer.rows.length));
    const used = layer.rules.findIndex((_, r) => layer.rows.some((row) => row.r === r));
    const sign = make("span", { class: "sign", "data-layer": layer.name, "data-rule": used });
    const label = make("label", { title: layer.meaning }, input, sign, layer.title, count);
    groups.get(layer.group).append(label);
  }
  if (DATA.overlays.length) {
    const group = make("fieldset", {}, make("legend", {}, "Ground picture"));
    const choices = [{ name: "", title: "Relief only", legend: [] }, ...DATA.overlays];
    for (const choice of choices) {
      const input = make("input", {
        type: "radio", name: "overlay", value: choice.name, checked: choice.name === "",
      });
      input.addEventListener("change", () => {
        onOverlay(choice.name);
        showRamp(choice);
      });
      group.append(make("label", { title: choice.meaning }, input, choice.title));
    }
    group.append(make("ul", { id: "ramp", class: "ramp" }));
    panel.append(group);
  }
  if (DATA.offers.length) {
    const group = make("fieldset", {}, make("legend", {}, "What the ground offers, laid over each other"));
    for (const offer of DATA.offers) {
      const input = make("input", { type: "checkbox", name: "offer", value: offer.name });
      input.addEventListener("change", () => onOffer(offer.name, input.checked));
      group.append(make("label", {}, input, patch(offer.colour), offer.title));
    }
    panel.append(group);
  }
  refreshSigns();
}

function patch(colour) {
  const found = make("span", { class: "patch" });
  found.style.background = colour;
  return found;
}

/** Where there is a design, what is only proposed is switched off at first. */
function startsOn(layer) {
  return layer.on && !(DATA.design && layer.group === DATA.proposals);
}

function refreshSigns() {
  for (const sign of document.querySelectorAll(".sign")) {
    const layer = DATA.layers.find((one) => one.name === sign.dataset.layer);
    const rows = layer.rows.filter((row) => row.r === Number(sign.dataset.rule));
    sign.replaceChildren(swatch(layer.rules[Number(sign.dataset.rule)], kindOf({ rows })));
  }
}

function showRamp(choice) {
  byId("ramp").replaceChildren(
    ...choice.legend.map(([words, colour]) => make("li", {}, patch(colour), words)),
  );
}

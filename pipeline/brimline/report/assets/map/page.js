// Putting the page together: theme, switches, scale bar, position, print.

async function start() {
  if (!window.maplibregl) throw new Error("the map library is missing from this page");
  const on = new Map(DATA.layers.map((layer) => [layer.name, startsOn(layer)]));
  let overlay = "";
  const over = new Set();
  const map = startMap();
  await new Promise((resolve) => map.once("load", resolve));
  let surface = null;
  if (DATA.surface && "DecompressionStream" in window) surface = await Surface.unpack(DATA.surface);

  const restyle = () => {
    map.setStyle(styleOf((name) => on.get(name), overlay, over), { diff: false });
    return new Promise((resolve) => {
      map.once("style.load", () => {
        addPictures(map);
        resolve();
      });
    });
  };
  await restyle();

  const setLayer = (name, visible) => {
    on.set(name, visible);
    byId(`on-${name}`).checked = visible;
    for (const { id, source } of map.getStyle().layers) {
      if (source === name && !id.startsWith("storm/")) {
        map.setLayoutProperty(id, "visibility", visible ? "visible" : "none");
      }
    }
  };
  const setOverlay = (name) => {
    overlay = name;
    for (const picture of DATA.overlays) {
      const visibility = picture.name === name ? "visible" : "none";
      map.setLayoutProperty(`over/${picture.name}`, "visibility", visibility);
    }
  };
  const setOffer = (name, visible) => {
    over[visible ? "add" : "delete"](name);
    map.setLayoutProperty(`offer/${name}`, "visibility", visible ? "visible" : "none");
  };
  buildSwitches(setLayer, setOverlay, setOffer);

  const tools = startTools(map, surface);
  const storm = startStorm(map);
  const field = startField(map, surface);
  startDetails(map, tools.isBusy);
  startSearch(map, (name) => setLayer(name, true));
  startScale(map);
  startPosition(map, surface);
  startPrint(map, on, over);
  startPanel(map);

  const rethemed = async () => {
    await restyle();
    refreshSigns();
    tools.redraw();
    storm.redraw();
    field.redraw();
  };
  byId("theme").addEventListener("click", () => {
    document.documentElement.dataset.theme = isDark() ? "light" : "dark";
    rethemed();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", rethemed);
  for (const [id, step] of [["zoom-in", 1], ["zoom-out", -1]]) {
    byId(id).addEventListener("click", () => map.zoomTo(map.getZoom() + step));
  }
  byId("whole").addEventListener("click", () => map.fitBounds(box(DATA.start), { padding: 30 }));
  byId("map-note").textContent = "";
  map.getCanvas().setAttribute(
    "aria-label",
    `Map of ${DATA.site}. Arrow keys move it, plus and minus zoom, Enter tells what lies at the cross.`,
  );
  document.documentElement.dataset.ready = "yes";
  window.brimline = { map, surface, tools, fromMap, toMap, lonLat, fromLonLat, field, notesGeoJson, thingsAt, data: DATA };
}

function startScale(map) {
  const show = () => {
    const unit = DATA.metric ? 1 : 0.3048;
    const perPixel = metresPerPixel(map.getZoom()) / unit;
    const length = niceBelow(120 * perPixel);
    byId("scale-bar").style.width = `${length / perPixel}px`;
    byId("scale-words").textContent = `${length >= 1 ? grouped(length, 0) : length}\u00a0${DATA.metric ? "m" : "ft"}`;
  };
  map.on("zoom", show);
  show();
}

function startPosition(map, surface) {
  const tell = (place) => {
    const point = fromMap(place);
    const east = DATA.origin[0] + point[0];
    const north = DATA.origin[1] + point[1];
    const parts = [`E ${grouped(east, 1)}  N ${grouped(north, 1)}`];
    const there = lonLat(point);
    if (there) parts.push(`${there[1].toFixed(6)}°, ${there[0].toFixed(6)}°`);
    const level = surface ? surface.level(point) : NaN;
    if (Number.isFinite(level)) parts.push(shown("level", level));
    byId("position").textContent = parts.join(" · ");
  };
  map.on("mousemove", (event) => tell(event.lngLat));
  map.on("move", () => tell(map.getCenter()));
  tell(map.getCenter());
}

function startPrint(map, on, over) {
  // the page is laid out for paper before it hears of it, so the last picture is kept
  const kept = document.createElement("canvas");
  map.on("idle", () => {
    const canvas = map.getCanvas();
    if (!canvas.clientWidth) return;
    [kept.width, kept.height] = [canvas.width, canvas.height];
    kept.getContext("2d").drawImage(canvas, 0, 0);
    kept.ratio = canvas.width / canvas.clientWidth;
    kept.bar = [parseFloat(byId("scale-bar").style.width), byId("scale-words").textContent];
  });
  const prepare = () => {
    byId("print-map").src = signed(kept).toDataURL("image/png");
    byId("print-legend").replaceChildren(
      ...DATA.layers
        .filter((layer) => on.get(layer.name))
        .flatMap((layer) =>
          layer.rules
            .map((rule, r) => [rule, layer.rows.filter((row) => row.r === r)])
            .filter(([, rows]) => rows.length)
            .map(([rule, rows]) => make("li", {}, swatch(rule, kindOf({ rows })), rule.title)),
        ),
      ...DATA.offers
        .filter((offer) => over.has(offer.name))
        .map((offer) => make("li", {}, patch(offer.colour), offer.title)),
    );
  };
  window.addEventListener("beforeprint", prepare);
  byId("print").addEventListener("click", async () => {
    prepare();
    await byId("print-map").decode();
    window.print();
  });
}

/** The picture with its scale bar and north in it, so that they shrink on paper as it does. */
function signed(kept) {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [kept.width, kept.height];
  const pen = canvas.getContext("2d");
  pen.drawImage(kept, 0, 0);
  if (!kept.bar) return canvas;
  const [long, words] = kept.bar;
  pen.scale(kept.ratio, kept.ratio);
  const foot = kept.height / kept.ratio;
  pen.fillStyle = "#ffffff";
  pen.fillRect(8, foot - 44, Math.max(long, 60) + 50, 36);
  pen.fillStyle = pen.strokeStyle = "#000000";
  pen.lineWidth = 2;
  pen.strokeRect(16, foot - 22, long, 6);
  pen.fillRect(16, foot - 22, long / 2, 6);
  pen.font = "13px sans-serif";
  pen.fillText(words, 16, foot - 28);
  const north = Math.max(long, 60) + 40;
  pen.fillText("N", north - 4, foot - 31);
  pen.beginPath();
  for (const [x, y] of [[0, -28], [6, -12], [0, -16], [-6, -12]]) pen.lineTo(north + x, foot + y);
  pen.fill();
  return canvas;
}

function startPanel(map) {
  const button = byId("panel-button");
  const setOpen = (open) => {
    document.body.classList.toggle("closed", !open);
    button.setAttribute("aria-expanded", String(open));
    map.resize({ middleStays: true });
  };
  button.addEventListener("click", () => setOpen(document.body.classList.contains("closed")));
  setOpen(!matchMedia("(max-width: 45rem)").matches);
}

start().catch((fault) => {
  console.error(fault);
  byId("map-note").textContent =
    `The map cannot be drawn here (${fault.message}). It needs a browser with WebGL 2. The report beside it shows the same drawings.`;
});

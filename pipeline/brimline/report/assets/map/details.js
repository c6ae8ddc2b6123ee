// What a thing is: a word beside the pointer, a card with all figures, and search by name.

const titleOf = (layer, row) => `${layer.single} ${row.n}`;

/** Find what lies under a point of the screen: marks first, then lines, then areas. */
function thingsAt(map, point, reach = 5) {
  const around = [
    [point.x - reach, point.y - reach],
    [point.x + reach, point.y + reach],
  ];
  const seen = new Set();
  const found = [];
  for (const feature of map.queryRenderedFeatures(around)) {
    const layer = DATA.layers.find((one) => one.name === feature.source);
    const key = `${feature.source}/${feature.properties.i}`;
    if (!layer || seen.has(key)) continue;
    seen.add(key);
    found.push({ layer, row: layer.rows[feature.properties.i] });
  }
  const kind = ({ row }) => row.g[0];
  return found.sort((a, b) => kind(a) - kind(b));
}

function startDetails(map, isBusy) {
  const tip = byId("tip");
  map.on("mousemove", (event) => {
    const things = isBusy() ? [] : thingsAt(map, event.point);
    map.getCanvas().style.cursor = isBusy() ? "crosshair" : things.length ? "pointer" : "";
    tip.hidden = !things.length;
    if (!things.length) return;
    const { layer, row } = things[0];
    const [name, value] = firstFigure(layer, row);
    tip.textContent = name ? `${titleOf(layer, row)} · ${name} ${value}` : titleOf(layer, row);
    const left = Math.min(event.point.x + 14, map.getContainer().clientWidth - 200);
    tip.style.transform = `translate(${left}px, ${event.point.y + 14}px)`;
  });
  map.on("mouseout", () => {
    tip.hidden = true;
  });
  map.on("click", (event) => {
    if (!isBusy()) showThings(map, thingsAt(map, event.point));
  });
  byId("close-card").addEventListener("click", () => closeCard(map));
}

function firstFigure(layer, row) {
  const place = layer.columns.findIndex(([name], at) => at > 0 && name !== "Name" && row.v[at]);
  return place < 0 ? [] : [layer.columns[place][0].toLowerCase(), row.v[place]];
}

function showThings(map, things, { focus = false } = {}) {
  if (!things.length) {
    closeCard(map);
    return;
  }
  const [{ layer, row }] = things;
  byId("card-title").textContent = titleOf(layer, row);
  const body = byId("card-body");
  body.replaceChildren(make("p", { class: "quiet" }, layer.meaning));
  for (const code of row.f || []) {
    const [meaning, mend, severity] = DATA.flags[code];
    body.append(
      make("div", { class: severity === "look" ? "flag" : "told" }, make("strong", {}, code), make("p", {}, meaning),
        make("p", {}, make("strong", {}, "Mend: "), mend)),
    );
  }
  const table = make("table", {}, make("caption", { class: "out" }, "Figures"));
  const rows = make("tbody");
  layer.columns.forEach(([name, meaning], at) => {
    if (name === "Flag") return;
    const head = make("th", { scope: "row" }, name, make("small", {}, meaning));
    rows.append(make("tr", {}, head, make("td", {}, row.v[at] || "none")));
  });
  table.append(rows);
  body.append(table);
  if (things.length > 1) {
    const list = make("ul", { class: "others" });
    things.slice(1, 8).forEach((other, at) => {
      const rest = [other, ...things.filter((_, place) => place !== at + 1)];
      list.append(
        make("li", {},
          make("button", { type: "button", onclick: () => showThings(map, rest, { focus: true }) },
            titleOf(other.layer, other.row))),
      );
    });
    body.append(make("h3", {}, "Also here"), list);
  }
  map.getSource("picked").setData({ type: "Feature", properties: {}, geometry: geometryOf(row.g) });
  document.dispatchEvent(new CustomEvent("picked", { detail: { layer, row } }));
  const card = byId("card");
  card.hidden = false;
  card.scrollTop = 0;
  if (focus) card.focus();
}

function closeCard(map) {
  byId("card").hidden = true;
  map.getSource("picked").setData({ type: "FeatureCollection", features: [] });
}

/** Search by number, name or kind; each hit is a button that goes there. */
function startSearch(map, switchOn) {
  const input = byId("search");
  const hits = byId("hits");
  const words = (text) => text.toLowerCase().split(/\s+/).filter(Boolean);
  const everything = DATA.layers
    .filter((layer) => layer.name !== "contours")
    .flatMap((layer) => layer.rows.map((row) => ({ layer, row, text: titleOf(layer, row) })));
  const look = () => {
    const wanted = words(input.value);
    const rank = ({ text }) => {
      const own = words(text);
      return wanted.every((word) => own.includes(word)) ? 0 : 1;
    };
    const found = wanted.length
      ? everything.filter(({ text }) => wanted.every((word) => text.toLowerCase().includes(word)))
      : [];
    found.sort((a, b) => rank(a) - rank(b));
    const told = wanted.length ? `${found.length} found` : "";
    byId("hits-said").textContent = found.length > 12 ? `${told}, the first 12 shown` : told;
    hits.replaceChildren(
      ...found.slice(0, 12).map((thing) =>
        make("li", {},
          make("button", { type: "button", onclick: () => goTo(map, thing, switchOn) }, thing.text)),
      ),
    );
    return found;
  };
  input.addEventListener("input", look);
  byId("search-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const [first] = look();
    if (first) goTo(map, first, switchOn);
  });
}

function goTo(map, thing, switchOn) {
  switchOn(thing.layer.name);
  map.fitBounds(around({ rows: [thing.row] }), { padding: 90, maxZoom: 18.5, duration: 500 });
  showThings(map, [thing], { focus: true });
}

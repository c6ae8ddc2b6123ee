// The storm over the cascade: water level of each element by time, in the chart and on the map.

/** The ground of a layer, for the map to move to. */
function around(layer) {
  const bounds = new maplibregl.LngLatBounds();
  const extend = (part) =>
    typeof part[0] === "number" ? bounds.extend(part) : part.forEach(extend);
  for (const row of layer.rows) extend(geometryOf(row.g).coordinates);
  return bounds;
}

function startStorm(map) {
  if (!DATA.storms.length) return { redraw: () => {} };
  const elements = DATA.layers.find((layer) => layer.name === "elements");
  const state = { storm: DATA.storms[0], at: 0, timer: 0, chosen: DATA.storms[0].elements[0].id };
  const slider = byId("storm-time");
  const play = byId("storm-play");
  byId("storm-tool").hidden = false;

  const words = (hours) => `${grouped(hours, 1)}\u00a0h`;
  const share = (part, level) => (level - part.floor) / Math.max(part.spill - part.floor, 1e-6);

  const fillList = () => {
    byId("storm-list").replaceChildren(
      ...state.storm.elements.map((part) => {
        const button = make("button", {
          type: "button", "aria-pressed": String(part.id === state.chosen), "data-element": part.id,
          onclick: () => {
            state.chosen = part.id;
            show();
          },
        }, make("span", { class: "name" }, part.id), make("span", { class: "bar" }, make("i")),
        make("span", { class: "level" }));
        return make("li", {}, button);
      }),
    );
    slider.max = String(state.storm.time.length - 1);
  };

  const chartOf = () => {
    const part = state.storm.elements.find(({ id }) => id === state.chosen);
    const chart = drawChart(byId("storm-chart"), {
      series: [{
        points: state.storm.time.map((hour, at) => [hour, part.level[at] ?? NaN]),
        colour: cssColour("water"), width: 2.2,
      }],
      levels: [
        { y: part.spill, words: `spills at ${shown("level", part.spill)}`, colour: cssColour("works") },
        { y: part.crest, words: `crest ${shown("level", part.crest)}`, colour: cssColour("alarm") },
      ],
      xUnit: ["h", 1],
      yUnit: DATA.shown.level,
    });
    chart?.point(state.storm.time[state.at]);
    byId("storm-chart").setAttribute("aria-label", `Water level of ${part.id} by time`);
  };

  const show = () => {
    const hour = state.storm.time[state.at];
    slider.value = String(state.at);
    slider.setAttribute("aria-valuetext", words(hour));
    byId("storm-now").textContent = `${words(hour)} after the rain began`;
    for (const button of byId("storm-list").querySelectorAll("button")) {
      const part = state.storm.elements.find(({ id }) => id === button.dataset.element);
      const level = part.level[state.at];
      const full = level == null ? 0 : share(part, level);
      button.setAttribute("aria-pressed", String(part.id === state.chosen));
      button.querySelector("i").style.width = `${Math.min(Math.max(full, 0), 1) * 100}%`;
      button.classList.toggle("spills", level != null && level > part.spill + 0.001);
      button.classList.toggle("over", level != null && level > part.crest);
      button.querySelector(".level").textContent = level == null ? "" : shown("level", level);
    }
    paint();
    chartOf();
  };

  const paint = () => {
    if (!elements || !map.getLayer("storm/fill")) return;
    state.storm.elements.forEach((part) => {
      const place = elements.rows.findIndex((row) => row.n === part.id);
      const level = part.level[state.at];
      if (place < 0) return;
      const full = level == null ? 0 : Math.min(Math.max(share(part, level), 0), 1.2);
      map.setFeatureState({ source: "elements", id: place }, { full });
    });
  };

  /** Put the layers that show how full elements are over all others. */
  const addLayers = () => {
    if (!elements || map.getLayer("storm/fill")) return;
    const full = ["coalesce", ["feature-state", "full"], 0];
    const colour = ["interpolate", ["linear"], full, 0, "#deebf7", 1, "#08519c", 1.001, "#d55e00"];
    const layout = { visibility: "none" };
    const source = "elements";
    map.addLayer({
      id: "storm/fill", type: "fill", source, layout, filter: ["==", ["get", "k"], 2],
      paint: { "fill-color": colour, "fill-opacity": 0.85 },
    }, "picked/line");
    map.addLayer({
      id: "storm/line", type: "line", source, layout, filter: ["==", ["get", "k"], 1],
      paint: { "line-color": colour, "line-width": 6 },
    }, "picked/line");
    map.addLayer({
      id: "storm/point", type: "circle", source, layout, filter: ["==", ["get", "k"], 0],
      paint: {
        "circle-color": colour, "circle-radius": 8, "circle-stroke-width": 2,
        "circle-stroke-color": cssColour("ink"),
      },
    }, "picked/line");
  };

  const visible = (on) => {
    for (const id of ["storm/fill", "storm/line", "storm/point"]) {
      if (map.getLayer(id)) map.setLayoutProperty(id, "visibility", on ? "visible" : "none");
    }
  };

  const stop = () => {
    clearInterval(state.timer);
    state.timer = 0;
    play.textContent = "Play";
  };
  play.addEventListener("click", () => {
    if (state.timer) {
      stop();
      return;
    }
    if (state.at >= state.storm.time.length - 1) state.at = 0;
    play.textContent = "Pause";
    const stride = Math.max(1, Math.round(state.storm.time.length / 150));
    state.timer = setInterval(() => {
      state.at = Math.min(state.at + stride, state.storm.time.length - 1);
      show();
      if (state.at >= state.storm.time.length - 1) stop();
    }, 80);
  });
  slider.addEventListener("input", () => {
    stop();
    state.at = Number(slider.value);
    show();
  });
  const choice = byId("storm-choice");
  choice.replaceChildren(
    ...DATA.storms.map((storm, at) => make("option", { value: at }, storm.name)),
  );
  choice.addEventListener("change", () => {
    stop();
    state.storm = DATA.storms[Number(choice.value)];
    state.at = 0;
    fillList();
    show();
  });
  let isOpen = false;
  document.addEventListener("tool", ({ detail }) => {
    isOpen = detail === "storm";
    if (!isOpen) stop();
    visible(isOpen);
    map.resize({ middleStays: true });
    if (isOpen) map.fitBounds(around(elements), { padding: 50, duration: 0 });
    if (isOpen) show();
  });
  window.addEventListener("resize", () => isOpen && chartOf());
  fillList();
  addLayers();
  return {
    redraw: () => {
      addLayers();
      visible(isOpen);
      if (isOpen) show();
    },
  };
}

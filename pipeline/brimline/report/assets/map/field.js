// On the ground: one's own position, the way to what is picked, and notes that go home as GeoJSON.

const KEEP = `brimline notes: ${DATA.site}`;
const PHOTO_PX = 1024;
const CIRCLE_POINTS = 64;

/** The plane coordinates of a true longitude and latitude: `lonLat` turned round by Newton's steps. */
function fromLonLat([lon, lat]) {
  let point = [0, 0];
  for (let step = 0; step < 8; step += 1) {
    const [at, east, north] = [point, [point[0] + 1, point[1]], [point[0], point[1] + 1]].map(lonLat);
    const [a, b, c, d] = [east[0] - at[0], north[0] - at[0], east[1] - at[1], north[1] - at[1]];
    const [dx, dy] = [lon - at[0], lat - at[1]];
    const det = a * d - b * c;
    point = [point[0] + (d * dx - b * dy) / det, point[1] + (a * dy - c * dx) / det];
  }
  return point;
}

/** Compass bearing on the grid, clockwise from its north [degrees]. */
const bearingOf = ([x0, y0], [x1, y1]) => (Math.atan2(x1 - x0, y1 - y0) * DEGREES + 360) % 360;

/** The place of a row that lies nearest to a point. */
function nearestOf(row, from) {
  const distance = ([x, y]) => Math.hypot(x - from[0], y - from[1]);
  let best = row.g[0] === 0 ? [row.g[1][0][0] / 100, row.g[1][0][1] / 100] : null;
  for (const line of linesOfRow(row)) {
    for (let at = 1; at < line.length; at += 1) {
      const [[x0, y0], [x1, y1]] = [line[at - 1], line[at]];
      const [dx, dy] = [x1 - x0, y1 - y0];
      const share = ((from[0] - x0) * dx + (from[1] - y0) * dy) / (dx * dx + dy * dy || 1);
      const held = Math.min(Math.max(share, 0), 1);
      const place = [x0 + held * dx, y0 + held * dy];
      if (!best || distance(place) < distance(best)) best = place;
    }
  }
  return best;
}

function startField(map, surface) {
  const state = { here: null, target: null, watch: 0, notes: readNotes(), placing: false };
  const said = byId("here-said");
  const collection = (features) => ({ type: "FeatureCollection", features });
  const feature = (type, coordinates) => ({
    type: "Feature", properties: {}, geometry: { type, coordinates },
  });

  const draw = () => {
    const features = [];
    if (state.here) {
      const { point, accuracy } = state.here;
      const ring = Array.from({ length: CIRCLE_POINTS + 1 }, (_, n) => {
        const angle = (2 * Math.PI * n) / CIRCLE_POINTS;
        return toMap([point[0] + accuracy * Math.cos(angle), point[1] + accuracy * Math.sin(angle)]);
      });
      features.push(feature("Polygon", [ring]), feature("Point", toMap(point)));
      if (state.target) {
        const to = nearestOf(state.target.row, point);
        features.push(feature("LineString", [toMap(point), toMap(to)]));
      }
    }
    map.getSource("here")?.setData(collection(features));
    map.getSource("notes")?.setData(
      collection(state.notes.map(({ at }) => feature("Point", toMap(at)))),
    );
    byId("notes-count").textContent = String(state.notes.length);
    for (const id of ["notes-save", "notes-gpx", "notes-clear"]) byId(id).disabled = !state.notes.length;
  };

  const tell = () => {
    if (!state.here) return;
    const { point, accuracy } = state.here;
    const parts = [`You are here, within ${shown("length", accuracy)}`];
    const level = surface ? surface.level(point) : NaN;
    if (Number.isFinite(level)) parts.push(`surveyed ground ${shown("level", level)}`);
    if (state.target) {
      const to = nearestOf(state.target.row, point);
      const far = Math.hypot(to[0] - point[0], to[1] - point[1]);
      const bearing = Math.round(bearingOf(point, to)) % 360;
      parts.push(
        `to ${titleOf(state.target.layer, state.target.row)}: ${shown("length", far)}, ` +
          `bearing ${String(bearing).padStart(3, "0")}° from grid north` +
          (far < accuracy ? " (nearer than this position is sure)" : ""),
      );
    } else parts.push("pick a stake or an element for the way to it");
    said.textContent = `${parts.join("; ")}.`;
  };

  const arrived = ({ coords }) => {
    const first = !state.here;
    const point = fromLonLat([coords.longitude, coords.latitude]);
    state.here = { point, accuracy: coords.accuracy };
    const [[west, south], [east, north]] = DATA.bounds;
    const off = point[0] < west || point[0] > east || point[1] < south || point[1] > north;
    if (off) said.textContent = "You are off the ground that this map shows.";
    else tell();
    if (first && !off) map.easeTo({ center: toMap(point), duration: 400 });
    draw();
  };
  const refused = ({ message }) => {
    said.textContent = `The position is not to be had (${message}). Allow it for this page, and go where the sky is free.`;
  };
  const follow = (on) => {
    byId("here").setAttribute("aria-pressed", String(on));
    if (state.watch) navigator.geolocation.clearWatch(state.watch);
    state.watch = on ? navigator.geolocation.watchPosition(arrived, refused, { enableHighAccuracy: true }) : 0;
    if (!on) state.here = null;
    byId("field").hidden = !on && !state.placing;
    said.textContent = on ? "Looking for your position…" : "";
    draw();
  };
  if (DATA.lonlat && navigator.geolocation) {
    byId("here").hidden = false;
    byId("here").addEventListener("click", () => follow(!state.watch));
  }
  document.addEventListener("picked", ({ detail }) => {
    state.target = detail;
    tell();
    draw();
  });

  // --- notes

  const placeOf = () => (state.here ? state.here.point : fromMap(map.getCenter()));
  byId("note").addEventListener("click", () => {
    state.placing = !state.placing;
    byId("note").setAttribute("aria-pressed", String(state.placing));
    byId("note-form").hidden = !state.placing;
    byId("field").hidden = !state.placing && !state.watch;
    const about = state.target ? state.target.row.n : "";
    byId("note-about").value = about;
    byId("note-where").textContent = state.here
      ? "It is put where you stand."
      : "It is put at the middle of the map: move the map until the cross lies there.";
    document.body.classList.toggle("placing", state.placing);
    if (state.placing) byId("note-text").focus();
  });
  byId("note-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const at = placeOf();
    const [file] = byId("note-photo").files;
    let photo = "";
    try {
      if (file) photo = await shrunk(file);
    } catch {
      byId("note-where").textContent = "This browser cannot read that photograph: choose a JPEG, or leave it out.";
      byId("note-photo").value = "";
      return;
    }
    state.notes.push({
      at,
      text: byId("note-text").value.trim(),
      about: byId("note-about").value.trim(),
      moved: byId("note-moved").checked,
      accuracy: state.here ? state.here.accuracy : null,
      time: new Date().toISOString(),
      photo,
    });
    keepNotes(state.notes);
    byId("note-form").reset();
    byId("note").click();
    draw();
    byId("field").hidden = false;
    said.textContent = `${state.notes.length} kept in this browser. Save them before you close it.`;
  });
  const save = (text, type, name) => {
    const link = make("a", { href: URL.createObjectURL(new Blob([text], { type })), download: name });
    link.click();
    URL.revokeObjectURL(link.href);
    said.textContent = `${state.notes.length} saved as ${name}: name that file as inputs.notes of the site.`;
  };
  byId("notes-save").addEventListener("click", () =>
    save(JSON.stringify(notesGeoJson(state.notes)), "application/geo+json", "notes.geojson"),
  );
  byId("notes-gpx").hidden = !DATA.lonlat;
  byId("notes-gpx").addEventListener("click", () => {
    save(notesGpx(state.notes), "application/gpx+xml", "notes.gpx");
    if (state.notes.some(({ photo }) => photo)) {
      said.textContent += " GPX holds no photographs: save them as GeoJSON.";
    }
  });
  byId("notes-clear").addEventListener("click", () => {
    if (!window.confirm(`Forget ${state.notes.length} notes? Save them first.`)) return;
    state.notes = [];
    keepNotes(state.notes);
    draw();
  });
  draw();
  return { redraw: draw, state };
}

/** Notes as GeoJSON: degrees where the run has a place on the Earth, else metres of its own grid. */
function notesGeoJson(notes) {
  const whole = ([x, y]) => [DATA.origin[0] + x, DATA.origin[1] + y];
  return {
    type: "FeatureCollection",
    name: "notes",
    features: notes.map((note) => ({
      type: "Feature",
      properties: {
        text: note.text, about: note.about, moved: note.moved, accuracy_m: note.accuracy,
        written: note.time, photo: note.photo,
      },
      geometry: { type: "Point", coordinates: lonLat(note.at) || whole(note.at) },
    })),
  };
}

/** Notes as waypoints of GPX 1.1; the type says whether a name is that of a stake or element. */
function notesGpx(notes) {
  const escaped = (text) =>
    text.replace(/[&<>"]/g, (sign) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[sign]);
  const points = notes.map((note, n) => {
    const [lon, lat] = lonLat(note.at);
    const type = note.moved ? "moved" : note.about ? "about" : "note";
    return (
      `<wpt lat="${lat.toFixed(8)}" lon="${lon.toFixed(8)}"><time>${note.time}</time>` +
      `<name>${escaped(note.about || `Note ${n + 1}`)}</name><desc>${escaped(note.text)}</desc>` +
      `<type>${type}</type></wpt>`
    );
  });
  return (
    '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="brimline"' +
    ` xmlns="http://www.topografix.com/GPX/1/1">${points.join("")}</gpx>\n`
  );
}

async function shrunk(file) {
  const picture = await createImageBitmap(file);
  const share = Math.min(1, PHOTO_PX / Math.max(picture.width, picture.height));
  const canvas = make("canvas", {
    width: Math.round(picture.width * share), height: Math.round(picture.height * share),
  });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return canvas.toDataURL("image/jpeg", 0.7);
}

function readNotes() {
  try {
    return JSON.parse(localStorage.getItem(KEEP)) || [];
  } catch {
    return []; // a browser that keeps nothing for pages from the file system
  }
}

function keepNotes(notes) {
  try {
    localStorage.setItem(KEEP, JSON.stringify(notes));
  } catch {
    byId("here-said").textContent = "This browser keeps no more notes: save them now.";
  }
}

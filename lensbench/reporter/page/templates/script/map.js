/* -- the map ---------------------------------------------------------------------------------------------- */

offer("setting", "Setting", data.settings.map((one, k) => [k, one.name]), chosen.setting);
offer("quantity", "Figure", [], "");
offer("channel", "Colour", [], "");
offer("direction", "Direction", [], "");
offer("unit", "By", [], "");

const [WIDTH, HEIGHT] = data.size;
const HALF = Math.hypot(WIDTH, HEIGHT) / 2;
const drawing = put(live, "svg", { class: "livemap", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "xMinYMin meet", role: "group", "aria-label": "Map" });
const clip = put(put(drawing, "defs"), "clipPath", { id: "frame" });
put(clip, "rect", { width: WIDTH, height: HEIGHT });
const ground = put(drawing, "g", { "clip-path": "url(#frame)" });
const ringed = put(put(drawing, "g", { "clip-path": "url(#frame)" }), "path", { class: "ringed", d: "" });
const above = put(drawing, "g", { class: "letters", "aria-hidden": "true" });
const scale = put(live, "svg", { class: "scale", viewBox: "0 0 400 30", "aria-hidden": "true" });
const legend = put(live, "p", { class: "quiet legend" });
const panel = put(live, "div", { class: "panel" });

/* Letters keep their size on the screen whatever the map's width is. */
const perPixel = () => WIDTH / (drawing.clientWidth || 600);
const letters = (size) => Math.min(size * perPixel(), 60);

function drawMap() {
  const kept = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.place : null;
  ground.replaceChildren();
  above.replaceChildren();
  const byZone = chosen.unit === "zones";
  drawing.setAttribute("aria-label", `Map of ${quantity().name}, ${setting().name}, by ${byZone ? "zone" : "tile"}`);
  for (const zone of data.zones) drawZone(zone, byZone);
  if (!byZone) for (const tile of setting().tiles) drawTile(tile);
  if (chosen.quantity === "falloff") for (const mark of setting().marks) drawMark(mark);
  put(ground, "rect", { class: "border", width: WIDTH, height: HEIGHT });
  drawScale();
  rove();
  ringAround(at.kind && ground.querySelector(`[data-place="${at.kind}:${at.id}"]`));
  const again = kept && ground.querySelector(`[data-place="${kept}"]`);
  if (again) again.focus({ preventScroll: true });
}

function drawZone(zone, active) {
  const cell = layer().zones[zone.id];
  const fill = active && cell ? colourOf(cell[0]) : null;
  const group = put(ground, "g", { class: "zone" });
  const path = put(group, "path", { d: zone.path });
  if (fill) path.setAttribute("fill", fill);
  if (!active) return;
  const square = chosen.quantity === "mtf50" && chosen.direction === BOTH;
  const pair = square ? DIRECTIONS.map((way) => layerOf("mtf50", chosen.channel, way)).map((one) => one && one.zones[zone.id]) : [];
  const only = cell ? -1 : pair.findIndex(Boolean);
  const said = cell ? cell[2] : only < 0 ? "not measured" : `${DIRECTIONS[only]} alone ${pair[only][2]}`;
  makePlace(group, "zone", zone.id, `${zone.name}: ${said}`);
  const ink = fill ? inkOn(fill) : "currentColor";
  if (pair.some(Boolean) && perPixel() < 1.9) drawSquare(zone, pair, ink);
  else if (cell || only >= 0) write(zone.at, (cell || pair[only])[1], ink, 13);
}

function write([x, y], text, colour, size) {
  put(above, "text", { x, y, "font-size": letters(size), fill: colour }, text);
}

/* A set square as the target's tiles stand: a leg along the radius, a leg across it, each as long as it is sharp. */
function drawSquare(zone, pair, ink) {
  const longest = 0.1 * HALF;
  const [out, side] = zone.ways;
  const corner = [0, 1].map((k) => zone.at[k] - (out[k] * 0.5 + side[k] * 0.33) * longest);
  const ends = [out, side].map((way, n) => [0, 1].map((k) => corner[k] + way[k] * longest * (pair[n] ? pair[n][0] / quantity().end : 0)));
  const points = [corner, ...ends].map((point) => point.join(",")).join(" ");
  put(above, "polygon", { points, class: "square" });
  ends.forEach((end, n) => {
    if (!pair[n]) return;
    const line = { x1: corner[0], y1: corner[1], x2: end[0], y2: end[1] };
    put(above, "line", { ...line, class: "leg" });
    put(above, "line", { ...line, class: "leg inner", stroke: colourOf(pair[n][0]) });
  });
  const clear = (text, way) => letters(12) * (0.32 * text.length * Math.abs(way[0]) + 0.42 * Math.abs(way[1]) + 0.55);
  const middle = [0, 1].map((k) => (corner[k] + ends[0][k]) / 2 - side[k] * clear(pair[0] ? pair[0][1] : "", side));
  const beyond = [0, 1].map((k) => ends[1][k] + side[k] * clear(pair[1] ? pair[1][1] : "", side));
  if (pair[0]) write(middle, pair[0][1], ink, 12);
  if (pair[1]) write(beyond, pair[1][1], ink, 12);
}

function drawTile(tile) {
  const cell = layer().tiles[tile.id];
  const [x, y] = tile.at;
  const r = 15;
  const group = put(ground, "g", { class: "tile" });
  put(group, "rect", { class: "reach", x: x - 26, y: y - 26, width: 52, height: 52 });
  const shape = put(group, "path", { d: `M${x - r} ${y - r}v${2 * r}h${2 * r}Z` });
  if (cell) shape.setAttribute("fill", colourOf(cell[0]));
  const out = tile.edges.filter((edge) => edge.left_out).length;
  if (out) put(group, "circle", { class: "out", cx: x + r, cy: y - r + 4, r: 5 });
  const said = cell ? cell[2] : "no figure";
  makePlace(group, "tile", tile.id, `tile ${tile.id.replace(",", ", row ")}: ${said}${out ? `; ${out} of its edges left out` : ""}`);
}

function drawMark([x, y, number]) {
  put(above, "circle", { class: "ring", cx: x, cy: y, r: 12 });
  put(above, "text", { class: "number", x: x + 14 + letters(6), y, "font-size": letters(12) }, number);
}

function makePlace(group, kind, id, label) {
  const place = `${kind}:${id}`;
  for (const [key, value] of Object.entries({ role: "button", tabindex: kind === "zone" ? "0" : "-1", "aria-label": label, "data-place": place })) group.setAttribute(key, value);
  group.setAttribute("aria-pressed", String(at.held && at.kind === kind && at.id === id));
  group.addEventListener("pointerenter", (event) => { if (event.pointerType === "mouse" && !at.held) show(kind, id); });
  group.addEventListener("focus", () => { if (!at.held || group.matches(":focus-visible")) show(kind, id); });
  group.addEventListener("click", () => hold(kind, id));
  group.addEventListener("keydown", (event) => keyed(event, kind, id));
}

function keyed(event, kind, id) {
  const ways = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };
  if (event.key === "Enter" || event.key === " ") hold(kind, id);
  else if (event.key === "Escape") release();
  else if (ways[event.key]) step(kind, id, ways[event.key]);
  else return;
  event.preventDefault();
}

/* The nearest place that lies more that way than aside. */
function step(kind, id, [dx, dy]) {
  const every = kind === "zone" ? data.zones : setting().tiles;
  const from = every.find((one) => one.id === id).at;
  let best = null;
  for (const one of every) {
    const [x, y] = [one.at[0] - from[0], one.at[1] - from[1]];
    const ahead = x * dx + y * dy;
    const aside = Math.abs(x * dy - y * dx);
    if (ahead > 1 && aside <= ahead && (!best || ahead + 2 * aside < best.far)) best = { id: one.id, far: ahead + 2 * aside };
  }
  if (!best) return;
  show(kind, best.id);
  rove();
  ground.querySelector(`[data-place="${kind}:${best.id}"]`).focus();
}

/* Of the tiles one is in the Tab order; arrow keys go from tile to tile. */
function rove() {
  const tiles = [...ground.querySelectorAll(".tile")];
  if (!tiles.length) return;
  const current = tiles.find((tile) => tile.dataset.place === `tile:${at.id}`) || tiles[Math.floor(tiles.length / 2)];
  for (const tile of tiles) tile.setAttribute("tabindex", tile === current ? "0" : "-1");
}

function drawScale() {
  const { end, unit, more_is_better: more, name } = quantity();
  scale.replaceChildren();
  const steps = data.colours.length;
  data.colours.forEach((colour, k) => put(scale, "rect", { x: (400 * k) / steps, width: 400 / steps + 0.6, height: 10, fill: more ? colour : data.colours[steps - 1 - k] }));
  [0, 0.5, 1].forEach((share, k) => put(scale, "text", { x: 400 * share, y: 26, "text-anchor": ["start", "middle", "end"][k] }, `${+(end * share).toPrecision(3)}${k === 2 ? ` ${unit}` : ""}`));
  const parts = [name, chosen.channel, chosen.direction, `at ${setting().name}`].filter(Boolean);
  legend.textContent = `${parts.join(", ")}.${chosen.unit === "tiles" ? " A dot: an edge of that tile was left out." : ""}${chosen.quantity === "falloff" && setting().marks.length ? " Rings: marks of dirt, by number." : ""}`;
}

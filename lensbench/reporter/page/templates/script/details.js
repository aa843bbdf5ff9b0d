/* -- what a zone or tile shows ---------------------------------------------------------------------------- */

function show(kind, id) {
  at.kind = kind;
  at.id = id;
  ringAround(ground.querySelector(`[data-place="${kind}:${id}"]`));
  drawPanel();
}

function hold(kind, id) {
  if (at.held && at.kind === kind && at.id === id) return release();
  at.held = true;
  show(kind, id);
  press();
}

function release() {
  at.held = false;
  press();
}

function press() {
  for (const one of ground.querySelectorAll("[role=button]")) one.setAttribute("aria-pressed", String(at.held && one.dataset.place === `${at.kind}:${at.id}`));
  panel.classList.toggle("held", at.held);
}

/* What is shown has a ring, drawn above its neighbours. */
function ringAround(here) {
  ringed.setAttribute("d", here ? here.querySelector("path").getAttribute("d") : "");
}

function drawPanel() {
  panel.replaceChildren();
  if (!at.kind) {
    put(panel, "p", { class: "quiet" }, "Point at a zone, or choose one, to see its figures, its curve and its picture in the shot.");
    return;
  }
  const tile = at.kind === "tile" ? tileOf(at.id) : nearestTile(zoneOf(at.id));
  const [column, row] = at.id.split(",");
  const name = at.kind === "tile" ? `Tile, column ${column}, row ${row}` : zoneOf(at.id).name.replace(/^./, (c) => c.toUpperCase());
  put(panel, "h3", {}, `${name} at ${setting().name}`);
  if (at.kind === "tile" && !tile) return void put(panel, "p", {}, "This setting has no such tile.");
  const columns = put(panel, "div", { class: "beside-map" });
  figuresOf(put(columns, "div", { tabindex: "0", role: "region", "aria-label": "Figures" }));
  const drawn = put(columns, "div", {});
  curveOf(drawn, tile);
  if (tile) pictureOf(put(columns, "div", {}), tile);
}

function nearestTile(zone) {
  const inside = setting().tiles.filter((tile) => tile.zone === zone.id);
  const pool = inside.filter((tile) => tile.picture).length ? inside.filter((tile) => tile.picture) : inside;
  const far = (tile) => Math.hypot(tile.at[0] - zone.at[0], tile.at[1] - zone.at[1]);
  return pool.sort((one, other) => far(one) - far(other))[0];
}

/* A line a quantity, a column a direction; a table for each kind of direction. */
function figuresOf(parent) {
  const where = at.kind === "tile" ? "tiles" : "zones";
  const tables = new Map();
  for (const one of data.quantities)
    for (const channel of one.channels) {
      const own = one.channels.includes(chosen.channel) ? chosen.channel : setting().channel;
      if (one.id !== "fringing" && channel && channel !== own) continue;
      const cells = new Map();
      for (const direction of one.directions) {
        const found = layerOf(one.id, channel, direction);
        if (found && found[where][at.id]) cells.set(direction, found[where][at.id][2]);
      }
      if (!cells.size) continue;
      const ways = [...one.directions].sort((a, b) => Number(a === BOTH) - Number(b === BOTH)).join("|");
      if (!tables.has(ways)) tables.set(ways, []);
      tables.get(ways).push([[one.name, channel].filter(Boolean).join(", "), cells, one.unit]);
    }
  for (const [ways, rows] of tables) tableOf(parent, ways.split("|"), rows);
  if (!tables.size) put(parent, "p", { class: "quiet" }, "No figure was measured here.");
}

function tableOf(parent, ways, rows) {
  const shown = ways.filter((way) => rows.some(([, cells]) => cells.has(way)));
  const table = put(parent, "table", {});
  put(table, "caption", { class: "hidden" }, `Figures with 95 % intervals${shown[0] ? ` by direction: ${shown.join(", ")}` : ""}`);
  const head = put(put(table, "thead", {}), "tr", {});
  put(head, "td", {});
  for (const way of shown) put(head, "th", { scope: "col" }, way === BOTH ? "both" : way || "figure");
  const body = put(table, "tbody", {});
  for (const [name, cells, unit] of rows) {
    const line = put(body, "tr", {});
    put(line, "th", { scope: "row" }, `${name}, ${unit}`);
    for (const way of shown) put(line, "td", {}, (cells.get(way) || "–").replace(` ${unit}`, ""));
  }
}

/* Contrast from coarse to fine: of a zone in the chosen colour with its interval, of a tile edge by edge. */
function curveOf(parent, tile) {
  const channel = setting().curves[`centre|${chosen.channel}|sagittal`] ? chosen.channel : setting().channel;
  const lines = [];
  if (at.kind === "zone")
    for (const way of DIRECTIONS) {
      const found = setting().curves[`${at.id}|${channel}|${way}`];
      if (found) lines.push({ name: way, way, mtf: found[0], low: found[1], high: found[2] });
    }
  else if (tile && tile.curves)
    for (const edge of tile.edges) if (tile.curves[edge.leg]) lines.push({ name: edge.direction, way: edge.direction, mtf: tile.curves[edge.leg] });
  if (!lines.length) return;
  const flawless = setting().flawless[channel];
  const figure = put(parent, "figure", {});
  put(figure, "figcaption", {}, `Contrast from coarse to fine, ${at.kind === "zone" ? `${channel}; shaded: 95 % interval` : `edge by edge, ${setting().channel}`}${flawless ? "; dotted: a flawless lens" : ""}`);
  const names = [...new Set(lines.map((line) => line.name))];
  const box = put(figure, "svg", { class: "curve", viewBox: "0 0 320 214", role: "img", "aria-label": `Curves of contrast against spatial frequency: ${names.join(", ")}` });
  const { unit, per_cycle: per } = data.curves;
  const x = (k, values) => 44 + (266 * k) / (values.length - 1);
  const y = (value) => 172 - 0.152 * Math.max(value, 0);
  for (const share of [0, 250, 500, 750, 1000]) {
    put(box, "line", { class: share === 500 ? "half" : "grid", x1: 44, x2: 310, y1: y(share), y2: y(share) });
    put(box, "text", { x: 38, y: y(share) + 3.5, "text-anchor": "end" }, String(share / 10));
  }
  const finest = 0.5 * per;
  const pace = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200].find((one) => finest / one <= 5.01) || finest;
  for (let f = 0; f <= finest * 1.001; f += pace) {
    const place = 44 + (266 * f) / finest;
    put(box, "line", { class: "grid", x1: place, x2: place, y1: 172, y2: 176 });
    put(box, "text", { x: place, y: 187, "text-anchor": "middle" }, String(+f.toPrecision(3)));
  }
  put(box, "text", { x: 177, y: 205, "text-anchor": "middle" }, `spatial frequency, ${unit}`);
  put(box, "text", { x: 0, y: 0, transform: "translate(10 96) rotate(-90)", "text-anchor": "middle" }, "contrast, %");
  const path = (values) => values.map((value, k) => `${k ? "L" : "M"}${x(k, values).toFixed(1)} ${y(value).toFixed(1)}`).join("");
  if (flawless) put(box, "path", { class: "flawless", d: path(flawless) });
  for (const line of lines) {
    if (line.low) {
      const back = [...line.low].map((value, k) => `L${x(k, line.low).toFixed(1)} ${y(value).toFixed(1)}`).reverse().join("");
      put(box, "path", { class: "interval", d: `${path(line.high)}${back}Z` });
    }
    put(box, "path", { class: `line ${line.way}`, d: path(line.mtf) });
  }
  keyOf(figure, names);
}

function keyOf(parent, names) {
  const key = put(parent, "p", { class: "quiet key" });
  for (const name of names) {
    const item = put(key, "span", {});
    const mark = put(item, "svg", { viewBox: "0 0 26 8", width: 26, height: 8, "aria-hidden": "true" });
    put(mark, "line", { class: `line ${name}`, x1: 0, x2: 26, y1: 4, y2: 4 });
    item.append(` ${name}`);
  }
}

function pictureOf(parent, tile) {
  const [column, row] = tile.id.split(",");
  if (tile.picture) {
    const [width, height] = tile.picture.size;
    const figure = put(parent, "figure", {});
    put(figure, "figcaption", {}, `${tile.shot}: tile at column ${column}, row ${row}, with its edges as found`);
    const box = put(figure, "svg", { class: "crop", viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `The tile at column ${column}, row ${row} in the shot` });
    put(box, "image", { href: tile.picture.src, width, height });
    for (const edge of tile.edges) {
      const [x1, y1, x2, y2] = tile.picture.lines[edge.leg] || [0, 0, 0, 0];
      put(box, "line", { class: `found ${edge.direction}${edge.left_out ? " out" : ""}`, x1, y1, x2, y2 });
    }
    keyOf(figure, [...new Set(tile.edges.map((edge) => edge.direction))]);
  }
  const list = put(parent, "ul", { class: "edges" });
  for (const edge of tile.edges) {
    const text = edge.left_out ? `left out: ${edge.left_out}${edge.mtf50 ? ` (${edge.mtf50})` : ""}` : edge.mtf50 || "no figure";
    put(list, "li", {}, `${edge.direction}, ${setting().channel}: ${text}`);
  }
  if (at.kind !== "zone") return;
  const out = setting().tiles.filter((one) => one.zone === at.id).flatMap((one) => one.edges).filter((edge) => edge.left_out);
  const counts = new Map();
  for (const edge of out) {
    const reason = edge.left_out.replace(/ \(by .*/, "");
    counts.set(reason, (counts.get(reason) || 0) + 1);
  }
  if (counts.size) put(parent, "p", { class: "quiet" }, `Left out in this zone: ${[...counts].map(([reason, count]) => `${count} × ${reason}`).join("; ")}. “Single tiles” shows which.`);
}

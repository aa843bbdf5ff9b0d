"use strict";
(() => {
const SVG = "http://www.w3.org/2000/svg";
const data = JSON.parse(document.getElementById("bench").textContent);
const live = document.getElementById("live");
const BOTH = "both directions";
const DIRECTIONS = ["sagittal", "tangential"];

/* Elements are made, never parsed from text: what people wrote stays text. */
function put(parent, name, attributes, text) {
  const drawn = parent.namespaceURI === SVG && parent.tagName !== "foreignObject";
  const element = drawn || name === "svg" ? document.createElementNS(SVG, name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes || {})) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  parent.appendChild(element);
  return element;
}

const chosen = { setting: data.start, quantity: data.quantities[0].id, channel: "", direction: "", unit: "zones" };
const at = { kind: null, id: null, held: false };

const setting = () => data.settings[chosen.setting];
const quantity = () => data.quantities.find((one) => one.id === chosen.quantity);
const layerOf = (name, channel, direction) => setting().layers[`${name}|${channel}|${direction}`];
const layer = () => layerOf(chosen.quantity, chosen.channel, chosen.direction) || { zones: {}, tiles: {} };
const zoneOf = (id) => data.zones.find((zone) => zone.id === id);
const tileOf = (id) => setting().tiles.find((tile) => tile.id === id);

function colourOf(value) {
  const { end, more_is_better: more } = quantity();
  const share = Math.min(Math.abs(value) / end, 1);
  return data.colours[Math.round((more ? share : 1 - share) * (data.colours.length - 1))];
}

function inkOn(colour) {
  const parts = [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16) / 255);
  const linear = parts.map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
  return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] > 0.179 ? "#000" : "#fff";
}

/* -- what is chosen --------------------------------------------------------------------------------------- */

const controls = put(live, "div", { class: "controls" });
const selects = {};

function offer(name, label, options, value) {
  const box = put(controls, "label", {});
  put(box, "span", {}, label);
  const select = put(box, "select", { "data-choice": name });
  selects[name] = select;
  fill(select, options, value);
  select.addEventListener("change", () => {
    chosen[name] = name === "setting" ? Number(select.value) : select.value;
    refresh();
  });
}

function fill(select, options, value) {
  select.replaceChildren();
  for (const [key, text] of options) {
    const option = put(select, "option", { value: key }, text);
    option.selected = String(key) === String(value);
  }
  select.disabled = options.length < 2;
  select.parentElement.hidden = options.length < 2;
}

/* What a setting lacks is not offered; what was chosen before stays where it can. */
function settle() {
  const has = (one) => one.channels.some((c) => one.directions.some((d) => layerOf(one.id, c, d)));
  const offered = data.quantities.filter(has);
  if (!offered.some((one) => one.id === chosen.quantity)) chosen.quantity = (offered[0] || data.quantities[0]).id;
  const { channels, directions } = quantity();
  if (!channels.includes(chosen.channel)) chosen.channel = channels.includes(setting().channel) ? setting().channel : channels[0];
  if (!directions.includes(chosen.direction)) chosen.direction = directions.includes(BOTH) ? BOTH : directions[0];
  fill(selects.quantity, offered.map((one) => [one.id, one.name]), chosen.quantity);
  fill(selects.channel, channels.map((name) => [name, name]), chosen.channel);
  fill(selects.direction, directions.map((name) => [name, name]), chosen.direction);
  const places = setting().tiles.length ? [["zones", "zones"], ["tiles", "single tiles"]] : [["zones", "zones"]];
  if (places.length < 2) chosen.unit = "zones";
  fill(selects.unit, places, chosen.unit);
}

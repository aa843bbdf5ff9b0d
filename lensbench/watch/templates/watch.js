"use strict";
// Loads the page anew, unless the reader holds it: to read it out, or to select a line.
const hold = document.getElementById("hold");
let held = false;
hold.hidden = false;
hold.addEventListener("click", () => {
  held = !held;
  hold.setAttribute("aria-pressed", held);
  hold.textContent = held ? "Held: go on" : "Hold";
});
setInterval(() => { if (!held) location.reload(); }, Number(document.body.dataset.reloads) * 1000);

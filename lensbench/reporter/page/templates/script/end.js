/* -- to begin with ---------------------------------------------------------------------------------------- */

function refresh() {
  settle();
  drawMap();
  drawPanel();
}

document.documentElement.classList.add("with-script");
live.hidden = false;
refresh();
let width = drawing.clientWidth;
new ResizeObserver(() => {
  if (Math.abs(drawing.clientWidth - width) < 2) return;
  width = drawing.clientWidth;
  drawMap();
}).observe(drawing);
})();

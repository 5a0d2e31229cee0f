// A firing on the week's picture can be dragged to another time or kiln. Nothing is changed by that: dropping it opens
// the firing's own form, filled in, where the audit says what the move would break. Everything here can be done with
// that form alone; fingers scroll the picture, so only a mouse or a pen drags.
"use strict";

const SLACK = 6;
let drag = null;
let swallow = false;

function at(svg, event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [point.x, point.y];
}

function laneAt(svg, y) {
  let nearest = null;
  for (const lane of svg.querySelectorAll("[data-kiln]")) {
    const away = Math.abs(Number(lane.dataset.top) + 20 - y);
    if (nearest === null || away < nearest.away) nearest = { away, lane };
  }
  return nearest.lane;
}

function shown(minutes, svg) {
  const size = Math.abs(minutes);
  const text = `${Math.floor(size / 60)}:${String(size % 60).padStart(2, "0")}`;
  if (minutes === 0) return svg.dataset.same;
  return (minutes > 0 ? svg.dataset.later : svg.dataset.earlier).replace("{by}", text);
}

function begin() {
  const { svg, link } = drag;
  const frame = link.querySelector(".frame");
  drag.ghost = frame.cloneNode();
  drag.ghost.setAttribute("class", "ghost");
  drag.label = document.createElementNS("http://www.w3.org/2000/svg", "text");
  drag.label.setAttribute("class", "ghost-text");
  drag.label.setAttribute("font-size", "14");
  svg.append(drag.ghost, drag.label);
  drag.left = Number(frame.getAttribute("x"));
  document.body.classList.add("dragging");
  // The click at the end would open the firing where it is.
  swallow = true;
}

function follow(event) {
  const { svg } = drag;
  const [x, y] = at(svg, event);
  const perMinute = Number(svg.dataset.width) / Number(svg.dataset.minutes);
  const grid = Number(svg.dataset.grid);
  const later = Math.round((x - drag.from[0]) / perMinute / grid) * grid;
  const lane = laneAt(svg, y);
  drag.later = later;
  drag.kiln = lane.dataset.kiln;
  const top = Number(lane.dataset.top);
  drag.ghost.setAttribute("x", drag.left + later * perMinute);
  drag.ghost.setAttribute("y", top + 1);
  drag.label.setAttribute("x", drag.left + later * perMinute + 4);
  drag.label.setAttribute("y", top > 20 ? top - 3 : top + 56);
  drag.label.textContent = `${drag.link.dataset.firing} → ${drag.kiln}, ${shown(later, svg)}`;
}

function end() {
  if (drag === null) return;
  if (drag.ghost) drag.ghost.remove();
  if (drag.label) drag.label.remove();
  document.body.classList.remove("dragging");
  drag = null;
}

document.addEventListener("pointerdown", (event) => {
  swallow = false;
  const link = event.target.closest && event.target.closest("a[data-firing]");
  if (!link || event.button !== 0 || event.pointerType === "touch") return;
  const svg = link.ownerSVGElement;
  drag = { link, svg, from: at(svg, event), pressed: [event.clientX, event.clientY], ghost: null };
});

document.addEventListener("pointermove", (event) => {
  if (drag === null) return;
  const far = Math.hypot(event.clientX - drag.pressed[0], event.clientY - drag.pressed[1]);
  if (drag.ghost === null && far < SLACK) return;
  if (drag.ghost === null) begin();
  follow(event);
});

document.addEventListener("pointerup", () => {
  if (drag === null || drag.ghost === null) return end();
  const { link, later, kiln } = drag;
  end();
  if (later === 0 && kiln === link.dataset.in) return;
  const asked = new URLSearchParams({ kiln, later });
  location.assign(`/firings/${encodeURIComponent(link.dataset.firing)}?${asked}#move-head`);
});

document.addEventListener("click", (event) => {
  if (swallow) event.preventDefault();
  swallow = false;
}, true);
document.addEventListener("pointercancel", end);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") end();
});
document.addEventListener("dragstart", (event) => {
  if (event.target.closest && event.target.closest("a[data-firing]")) event.preventDefault();
});
document.querySelectorAll("[data-drag-hint]").forEach((hint) => { hint.hidden = false; });

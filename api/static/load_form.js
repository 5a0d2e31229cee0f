// The booking form: what a firing does not depend on is out of the way, and the shelf area is worked out. Without this
// the form can be filled in and sent as well: it says which firings need what, and the service works the area out.
"use strict";

const firing = document.getElementById("f-profile");

function showWhatItDependsOn() {
  for (const field of document.querySelectorAll("[data-needed-for]")) {
    const needed = field.dataset.neededFor.split(" ").includes(firing.value);
    // What somebody has filled in stays to be seen: it is sent too.
    field.hidden = !needed && !field.querySelector("input").value;
    field.querySelector(".hint").hidden = needed;
  }
}

function number(name) {
  const text = document.getElementById(`f-${name}`).value.replace(/\s/g, "").replace(",", ".");
  return /^\d+(\.\d+)?$/.test(text) ? Number(text) : 0;
}

function workOutArea() {
  const area = document.getElementById("f-footprint_cm2");
  const side = document.getElementById("f-each_unit").value === "cm" ? 1 : 0.1;
  const round = number("each_diameter");
  const one = (round ? round * round : number("each_width") * number("each_depth")) * side * side;
  const all = one * number("pieces");
  if (!all) return;
  area.value = all.toFixed(all < 100 ? 1 : 0).replace(".", area.dataset.decimal);
  area.dispatchEvent(new Event("input", { bubbles: true }));
}

firing.addEventListener("change", showWhatItDependsOn);
showWhatItDependsOn();
document.getElementById("f-footprint_cm2").required = true;
const help = document.getElementById("area-help");
help.addEventListener("input", workOutArea);
document.getElementById("f-pieces").addEventListener("input", workOutArea);

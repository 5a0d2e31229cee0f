// Pages can be read, and all forms sent, without this. It makes them live: the day follows what others note, a solve's
// progress is shown, a promise and an audit are answered while one types, and a curve can be had as PNG.
"use strict";

const body = document.body;

// On a phone what does not call is folded away: the day is long. Without this all of it stands open.
const folded = new Map();

function foldOnPhones() {
  if (!matchMedia("(max-width: 44rem)").matches) return;
  for (const part of document.querySelectorAll("details[data-fold]")) {
    part.open = folded.get(part.dataset.fold) ?? false;
    part.addEventListener("toggle", () => folded.set(part.dataset.fold, part.open));
  }
}

function swapLiveParts(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  for (const part of document.querySelectorAll("[data-part]")) {
    // What somebody is using is not taken out from under their finger.
    if (part.contains(document.activeElement) || body.classList.contains("dragging")) continue;
    const other = fresh.querySelector(`[data-part="${part.dataset.part}"]`);
    if (other) part.replaceWith(document.importNode(other, true));
  }
  foldOnPhones();
}

function followHouse(address) {
  const source = new EventSource(address);
  source.addEventListener("changed", async () => {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (answer.ok) swapLiveParts(await answer.text());
  });
  addEventListener("pagehide", () => source.close());
}

function followSolve(box) {
  const source = new EventSource(box.dataset.job);
  source.addEventListener("progress", (event) => {
    const told = JSON.parse(event.data);
    for (const name of ["seconds", "late", "unplaced", "energy"]) {
      const place = box.querySelector(`[data-told="${name}"]`);
      const digits = name === "energy" ? 2 : 0;
      const style = { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false };
      if (place && told[name] != null) place.textContent = Number(told[name]).toLocaleString(document.documentElement.lang, style);
    }
  });
  source.addEventListener("ended", () => {
    source.close();
    location.reload();
  });
  addEventListener("pagehide", () => source.close());
}

function askWhileTyping(form) {
  const place = document.getElementById(form.dataset.answer);
  let waiting = 0;
  let asked = null;
  const ask = () => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      if (!form.checkValidity()) return;
      if (asked) asked.abort();
      asked = new AbortController();
      place.setAttribute("aria-busy", "true");
      try {
        const answer = await fetch(form.dataset.ask, {
          method: "POST", body: new URLSearchParams(new FormData(form)), signal: asked.signal,
        });
        place.innerHTML = await answer.text();
        place.removeAttribute("aria-busy");
      } catch (error) {
        if (error.name !== "AbortError") place.removeAttribute("aria-busy");
      }
    }, 450);
  };
  form.addEventListener("input", ask);
  form.addEventListener("change", ask);
}

// What a firing depends on is needed for it: said beside the field, and asked for by the browser.
function needWhatItDependsOn(choice) {
  const mark = () => {
    for (const field of document.querySelectorAll("[data-needed-for]")) {
      const needed = field.dataset.neededFor.split(" ").includes(choice.value);
      field.querySelector("input").required = needed;
      field.querySelector(".must").hidden = !needed;
    }
  };
  choice.addEventListener("change", mark);
  mark();
}

function asPng(button) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    const answer = await fetch(button.dataset.png);
    const picture = new Image();
    picture.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(await answer.text())}`;
    await picture.decode();
    const canvas = document.createElement("canvas");
    canvas.width = 1680;
    canvas.height = (1680 * picture.naturalHeight) / picture.naturalWidth;
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const link = document.createElement("a");
    link.href = canvas.toDataURL("image/png");
    link.download = button.dataset.name;
    link.click();
  });
}

foldOnPhones();
addEventListener("beforeprint", () => document.querySelectorAll("details[data-fold]").forEach((part) => { part.open = true; }));
if (body.dataset.live) followHouse(body.dataset.live);
document.querySelectorAll("[data-job]").forEach(followSolve);
document.querySelectorAll("form[data-ask]").forEach(askWhileTyping);
document.querySelectorAll("[data-png]").forEach(asPng);
document.querySelectorAll("#f-profile").forEach(needWhatItDependsOn);

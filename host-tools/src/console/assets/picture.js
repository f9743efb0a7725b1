// Reads values off a signature: a cursor by pointer or arrow keys, a closer look by dragging or + and −.
"use strict";
(() => {
  for (const key of document.querySelectorAll("[data-key]")) key.title = "key " + key.dataset.key;
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
    const link = document.querySelector('a[data-key="' + CSS.escape(event.key) + '"]');
    if (link) link.click();
  });

  const figure = document.querySelector(".reads");
  if (!figure) return;
  const surface = figure.querySelector("[data-surface]");
  const values = figure.querySelector("[data-values]");
  const svgSpace = "http://www.w3.org/2000/svg";
  const unitLink = document.querySelector('[aria-label="Unit of loads"] strong');
  const unit = unitLink ? unitLink.textContent : "kN";
  const perKn = unit === "US tonf" ? 1 / 8.896443230521 : unit === "tonnef" ? 1 / 9.80665 : 1;
  const fine = 10;
  let readings = null;
  let areas = [];
  let at = -1;
  let drag = null;
  let span = null;

  const svg = () => surface.querySelector("svg");
  const readAreas = () => {
    const text = svg().dataset.areas || "";
    areas = text.split(" ").filter(Boolean).map((one) => {
      const [left, top, right, bottom, from, to] = one.split(",").map(Number);
      return { left, top, right, bottom, from, to };
    });
  };
  const toAxis = (px) => {
    const area = areas[0];
    return area.from + (px - area.left) / (area.right - area.left) * (area.to - area.from);
  };
  const toPx = (value) => {
    const area = areas[0];
    return area.left + (value - area.from) / (area.to - area.from) * (area.right - area.left);
  };
  const pointer = (event) => {
    const box = svg().getBoundingClientRect();
    return (event.clientX - box.left) / box.width * Number(svg().getAttribute("width"));
  };
  const shape = (name, kind) => {
    let found = svg().querySelector("." + name);
    if (!found) {
      found = document.createElementNS(svgSpace, kind);
      found.setAttribute("class", name);
      svg().append(found);
    }
    return found;
  };
  const axis = (n) => readings.axis === "angle_deg" ? readings.position[n] : 1000 * readings.position[n] - zero();
  // The picture counts time from load onset, which lies where the picture's own axis is zero; readings count their own.
  const zero = () => 1000 * readings.position[0] - (readings.axis === "angle_deg" ? 0 : areas[0].from);
  const print = (kn) => { const v = kn * perKn; return v.toFixed(Math.abs(v) >= 100 ? 1 : 2); };

  const show = (n) => {
    if (!readings || !areas.length) return;
    at = Math.max(0, Math.min(readings.position.length - 1, n));
    const place = axis(at);
    const hair = shape("hair", "line");
    const last = areas[areas.length - 1];
    for (const [key, value] of [["x1", toPx(place)], ["x2", toPx(place)], ["y1", areas[0].top], ["y2", last.bottom]]) {
      hair.setAttribute(key, String(value * fine));
    }
    const where = readings.axis === "angle_deg"
      ? place.toFixed(2) + "°" + (readings.height_mm ? ", slide height " + readings.height_mm[at].toFixed(2) + " mm" : "")
      : place.toFixed(2) + " ms";
    const columns = readings.columns.length > 1
      ? "; " + readings.columns.map((column) => column.name + " " + print(column.kn[at])).join(", ") : "";
    values.textContent = "At " + where + ": total " + print(readings.total_kn[at]) + " " + unit + columns + learnt(place);
    values.dataset.at = String(place);
    values.dataset.total = String(readings.total_kn[at]);
  };
  const learnt = (place) => {
    const edges = readings.edges;
    if (!edges.length) return "";
    let bin = -1;
    for (let n = 0; n + 1 < edges.length; n += 1) if (place >= edges[n] && place < edges[n + 1]) bin = n;
    if (bin < 0) return "";
    const width = readings.columns.length;
    let sum = 0;
    for (let n = 0; n < width; n += 1) sum += readings.baseline_kn[bin * width + n];
    return "; good strokes " + print(sum) + " " + unit;
  };
  const nearest = (value) => {
    let best = 0;
    for (let n = 0; n < readings.position.length; n += 1) {
      if (Math.abs(axis(n) - value) < Math.abs(axis(best) - value)) best = n;
    }
    return best;
  };

  const start = () => at < 0 ? nearest((areas[0].from + areas[0].to) / 2) : at;

  const look = async (from, to) => {
    span = from === null ? null : [from, to];
    const query = span ? "?" + new URLSearchParams({ from: String(from), to: String(to) }) : "";
    const answer = await fetch(figure.dataset.picture + query);
    if (!answer.ok) { values.textContent = "There is nothing closer to see there."; return; }
    const fresh = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
    svg().replaceWith(document.importNode(fresh, true));
    readAreas();
    window.history.replaceState(null, "", window.location.pathname + query);
    if (at >= 0) show(at);
  };
  const closer = (factor) => {
    if (!areas.length) return;
    const middle = at >= 0 ? axis(at) : (areas[0].from + areas[0].to) / 2;
    const half = (areas[0].to - areas[0].from) * factor / 2;
    look(middle - half, middle + half);
  };

  surface.addEventListener("pointermove", (event) => {
    if (!readings || !areas.length) return;
    const px = pointer(event);
    if (drag !== null && Math.abs(px - drag) > 4) {
      const box = shape("drag", "rect");
      const last = areas[areas.length - 1];
      const [a, b] = [Math.min(px, drag), Math.max(px, drag)];
      for (const [key, value] of [["x", a], ["width", b - a], ["y", areas[0].top], ["height", last.bottom - areas[0].top]]) {
        box.setAttribute(key, String(value * fine));
      }
    }
    show(nearest(toAxis(px)));
  });
  // A finger taps without moving: the cursor goes there, and the buttons do what drag and keys do.
  surface.addEventListener("click", (event) => { if (readings && areas.length) show(nearest(toAxis(pointer(event)))); });
  const deeds = { back: () => show(start() - 20), on: () => show(start() + 20), closer: () => closer(0.5), wider: () => closer(2) };
  for (const button of figure.querySelectorAll("[data-do]")) {
    button.addEventListener("click", () => { if (readings && areas.length) deeds[button.dataset.do](); });
  }
  surface.addEventListener("pointerdown", (event) => { if (event.button === 0 && event.pointerType !== "touch") drag = pointer(event); });
  window.addEventListener("pointerup", (event) => {
    if (drag === null) return;
    const end = pointer(event);
    const [a, b] = [toAxis(Math.min(drag, end)), toAxis(Math.max(drag, end))];
    const far = Math.abs(end - drag) > 8;
    drag = null;
    const box = svg().querySelector(".drag");
    if (box) box.remove();
    if (far) look(Math.max(a, areas[0].from), Math.min(b, areas[0].to));
  });
  surface.addEventListener("keydown", (event) => {
    if (!readings || event.ctrlKey || event.altKey || event.metaKey) return;
    const step = event.shiftKey ? 20 : 1;
    if (event.key === "ArrowRight") show(start() + step);
    else if (event.key === "ArrowLeft") show(start() - step);
    else if (event.key === "Home") show(nearest(areas[0].from));
    else if (event.key === "End") show(nearest(areas[0].to));
    else if (event.key === "+") closer(0.5);
    else if (event.key === "-" || event.key === "−") closer(2);
    else if (event.key === "0" || event.key === "Escape") look(null, null);
    else return;
    event.preventDefault();
  });

  fetch(figure.dataset.readings).then((answer) => answer.ok ? answer.json() : null).then((found) => {
    readings = found;
    if (found) { readAreas(); figure.dataset.ready = "yes"; }
  });
})();

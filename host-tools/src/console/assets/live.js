// Follows the strokes: every stroke after the last one this page has, whatever happened to the connection meanwhile.
"use strict";
(() => {
  const link = document.querySelector("[data-live]");
  if (!link) return;
  const perKn = Number(link.dataset.perKn);
  const only = link.dataset.pressOnly;
  const kept = 24;
  let last = Number(link.dataset.after);
  let source = null;
  let wait = 500;
  let strokes = 0;
  let pictureAt = 0;

  const load = (kn) => {
    const value = kn * perKn;
    const size = Math.abs(value);
    return value.toFixed(size >= 1000 ? 0 : size >= 100 ? 1 : size >= 10 ? 2 : 3);
  };
  const time = (ms) => new Date(ms).toISOString().slice(0, 19).replace("T", " ") + " UTC";
  const svg = "http://www.w3.org/2000/svg";
  const lamp = (verdict) => {
    const span = document.createElement("span");
    span.className = "lamp " + verdict;
    const mark = document.createElementNS(svg, "svg");
    mark.setAttribute("class", "mark");
    mark.setAttribute("viewBox", "-12 -12 24 24");
    mark.setAttribute("aria-hidden", "true");
    const use = document.createElementNS(svg, "use");
    use.setAttribute("href", "#mark-" + verdict);
    for (const [name, value] of [["x", -12], ["y", -12], ["width", 24], ["height", 24]]) use.setAttribute(name, value);
    mark.append(use);
    const word = document.createElement("span");
    word.className = "word";
    word.textContent = verdict;
    span.append(mark, word);
    return span;
  };
  const anchor = (stroke, content) => {
    const a = document.createElement("a");
    a.href = "/stroke/" + stroke.id;
    a.append(content);
    return a;
  };
  const stopped = (stroke) => stroke.verdict === "hold" || stroke.verdict === "trip";

  const articles = new Map();
  for (const article of document.querySelectorAll("article[data-press]")) articles.set(article.dataset.press, article);

  const show = (press, list) => {
    const article = articles.get(press);
    if (!article) { window.location.reload(); return; }
    const part = (name) => article.querySelector("[data-" + name + "]");
    const newest = list[list.length - 1];
    part("lamp").replaceChildren(lamp(newest.verdict));
    part("peak").textContent = load(newest.peak_kn);
    const percent = 100 * newest.peak_kn / Number(article.dataset.rated);
    part("percent").textContent = percent.toFixed(0);
    part("meter").value = percent;
    part("says").textContent = newest.says;
    if (part("when")) part("when").textContent = time(newest.at_ms);
    const stop = list.filter(stopped).pop();
    if (stop) part("stop").replaceChildren(anchor(stop, "stroke " + stop.stroke + ", " + stop.verdict), ": " + stop.says);
    const row = part("row");
    const items = list.slice(-kept).reverse().map((stroke) => {
      const item = document.createElement("li");
      const a = anchor(stroke, lamp(stroke.verdict));
      a.title = "stroke " + stroke.stroke + ", " + stroke.verdict;
      item.append(a);
      return item;
    });
    row.prepend(...items);
    while (row.children.length > kept) row.lastElementChild.remove();
  };

  const rows = document.querySelector("[data-strokes]");
  const addRows = (list) => {
    if (!rows) return;
    const made = list.slice(-30).reverse().map((stroke) => {
      const tr = document.createElement("tr");
      const cell = (content, kind) => {
        const td = document.createElement("td");
        if (kind) td.className = kind;
        td.append(content);
        tr.append(td);
      };
      cell(anchor(stroke, String(stroke.stroke)));
      cell(lamp(stroke.verdict));
      cell(load(stroke.peak_kn), "n");
      cell(load(stroke.reverse_kn), "n");
      cell(stroke.work_kj === null ? "–" : stroke.work_kj.toFixed(3), "n");
      cell(stroke.press);
      cell(stroke.die === null ? "–" : stroke.die);
      cell(stroke.says);
      cell(time(stroke.at_ms), "time");
      return tr;
    });
    rows.prepend(...made);
    while (rows.children.length > 30) rows.lastElementChild.remove();
  };

  const picture = document.querySelector("[data-latest]");
  const addPicture = (stroke) => {
    // A picture a second is as much as anybody can look at.
    if (!picture || Date.now() - pictureAt < 1000) return;
    pictureAt = Date.now();
    picture.src = "/stroke/" + stroke.id + "/signature.svg";
  };

  // Strokes wait until the page has drawn the ones before: a hall of presses on a slow tablet falls behind by one drawing
  // and no more.
  const apart = 200;
  let pending = [];
  let drawnAt = 0;
  const draw = () => {
    const fresh = pending;
    pending = [];
    strokes += fresh.length;
    document.documentElement.dataset.strokesSeen = String(strokes);
    document.documentElement.dataset.lastStroke = String(fresh[fresh.length - 1].id);
    const byPress = new Map();
    for (const stroke of fresh) {
      if (!byPress.has(stroke.press)) byPress.set(stroke.press, []);
      byPress.get(stroke.press).push(stroke);
    }
    for (const [press, some] of byPress) show(press, some);
    addRows(fresh);
    addPicture(fresh[fresh.length - 1]);
    drawnAt = performance.now();
  };
  const take = (list) => {
    const fresh = list.filter((stroke) => stroke.id > last);
    if (!fresh.length) return;
    last = fresh[fresh.length - 1].id;
    if (!pending.length) setTimeout(draw, Math.max(0, drawnAt + apart - performance.now()));
    pending.push(...fresh);
  };

  const say = (words) => { if (link.textContent !== words) link.textContent = words; };
  const connect = () => {
    const query = new URLSearchParams({ after: String(last), feeds: link.dataset.feeds });
    if (only) query.set("press", only);
    source = new EventSource("/live?" + query);
    source.addEventListener("open", () => { wait = 500; say("Strokes come in as they are made."); });
    source.addEventListener("strokes", (event) => take(JSON.parse(event.data)));
    // Which die judges, or that no more strokes come, is said by the page as it is made.
    source.addEventListener("feeds", () => window.location.reload());
    source.addEventListener("error", () => {
      source.close();
      say("The connection is lost; trying again. Strokes made meanwhile will follow.");
      setTimeout(connect, wait);
      wait = Math.min(2 * wait, 5000);
    });
  };
  window.addEventListener("pagehide", () => source && source.close());
  window.addEventListener("pageshow", (event) => { if (event.persisted) connect(); });
  connect();
})();

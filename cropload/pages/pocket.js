"use strict";
// The pocket page: this block, counting, the crew. Plain script, no network, nothing outside.
const read = (id) => JSON.parse(document.getElementById(id).textContent);
const data = read("data");
const words = read("words");
const el = (id) => document.getElementById(id);
for (const { walk } of data.blocks) {
  for (const name of Object.keys(walk)) {
    walk[name] = walk[name].split(" ").map((place) => place.split(":"));
  }
}
const say = (name, put = {}) => words[name].replace(/\{(\w+)\}/g, (_, key) => put[key]);
const number = (value, places = 0) => new Intl.NumberFormat(data.language,
  { minimumFractionDigits: places, maximumFractionDigits: places }).format(value);
// Three figures, as far as a range supports them.
const figure = (value) => number(value, Math.abs(value) < 100 ? 1 : 0);
const ranged = ([low, middle, high], show = figure) =>
  `${show(middle)} (${show(low)}–${show(high)})`;
const whole = (value) => Math.floor(value + 0.5 + 1e-9);
function typed(id) {
  const value = Number(el(id).value.trim().replace(",", "."));
  return el(id).value.trim() && Number.isFinite(value) && value >= 0 ? value : null;
}
function today() {
  const now = new Date();
  const two = (value) => String(value).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

// ---------------------------------------------------------------- what is kept
// IndexedDB writes to the disk before it answers, where asked; localStorage may keep what it was
// given in memory for seconds, and lost whole counts when the browser was killed.
const BASE = `cropload pocket ${data.estate}`;
const kept = new Map([["tried", 1]]);
let base = null;
let keeps = false;
const asked = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = request.onblocked = () => failed(request.error);
});
async function openBase() {
  const opening = indexedDB.open(BASE, 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore("kept");
  // Some browsers never answer where nothing may be kept.
  const late = new Promise((_, failed) => setTimeout(() => failed(new Error("late")), 3000));
  base = await Promise.race([asked(opening), late]);
  base.onversionchange = () => base.close();
}
function written(keys) {
  return new Promise((done, failed) => {
    const change = base.transaction("kept", "readwrite", { durability: "strict" });
    const store = change.objectStore("kept");
    for (const key of keys) {
      if (kept.has(key)) store.put(kept.get(key), key); else store.delete(key);
    }
    const count = store.count();
    change.oncomplete = () => done(count.result);
    change.onerror = change.onabort = () => failed(change.error);
  });
}
async function keep(...keys) {
  try {
    // Fewer on the phone than here: it was emptied meanwhile, so all is written again.
    if (await written(keys) < kept.size) await written([...kept.keys()]);
    keeps = true;
  } catch {
    try {
      await openBase();
      await written([...kept.keys()]);
      keeps = true;
    } catch {
      keeps = false;
    }
  }
  tellKeeping();
}
async function tryKeeping() {
  try {
    await openBase();
    const store = base.transaction("kept").objectStore("kept");
    const [keys, values] = await Promise.all([asked(store.getAllKeys()), asked(store.getAll())]);
    keys.forEach((key, at) => kept.set(key, values[at]));
  } catch { /* Writing, which comes next, tells what cannot be kept. */ }
  await keep("tried");
}
function tellKeeping() {
  el("keeping").textContent = say(keeps ? "keeps" : "keeps_nothing");
  el("keeping").classList.toggle("warn", !keeps);
  showFiles();
}

// ---------------------------------------------------------------- state
let now = { tab: "block", block: 0, counter: null, measures: ["shoots"], at: {}, own: null };
let entry = { values: {}, field: 0, fresh: true };
const past = [];
const block = () => data.blocks[now.block];
const measures = () => now.tab === "crew" ? ["buds"] : now.measures;
const walkName = () => ["clusters", "shoots", "buds"].find((name) =>
  measures().includes(name)) || "shoots";
const walk = () => block().walk[walkName()] || [];
const placeKey = () => `${block().name}|${walkName()}`;
const stop = () => Math.min(now.at[placeKey()] || 0, walk().length);
// A vine of one's own choice where the walk is left, or where rows are not on record.
const vine = () => now.own || walk()[stop()] || null;
const rowKey = (place) => JSON.stringify(["row", today(), block().name, ...place]);
const rows = () => [...kept].filter(([key]) => key.startsWith('["row"')).map(([, row]) => row);

function load() {
  const row = vine() && kept.get(rowKey(vine()));
  entry = { values: {}, field: 0, fresh: true };
  for (const name of measures()) entry.values[name] = row ? row[name] ?? "" : "";
}
function remember(key = null) {
  past.push({ now: structuredClone(now), entry: structuredClone(entry), key,
    row: key && kept.get(key) });
  if (past.length > 300) past.shift();
}
function undo() {
  const last = past.pop();
  if (last) {
    now = last.now;
    entry = last.entry;
    const changed = [];
    if (last.key) {
      if (last.row) kept.set(last.key, last.row); else kept.delete(last.key);
      changed.push(last.key, JSON.stringify(["saved", JSON.parse(last.key)[1]]));
      kept.delete(changed[1]);
    }
    store(...changed);
  } else if (!now.own && stop() > 0) {
    now.at[placeKey()] = stop() - 1;
    load();
  }
  show();
}
function store(...keys) {
  kept.set("now", { ...structuredClone(now), name: block().name });
  keep("now", ...keys);
}
function digit(text) {
  if (!vine()) return;
  remember();
  const name = measures()[entry.field];
  const before = entry.fresh ? "" : entry.values[name];
  entry.values[name] = String(Number((before + text).slice(0, 3)));
  entry.fresh = false;
  show();
}
function finish(missing) {
  const place = vine();
  const key = rowKey(place);
  remember(key);
  const old = kept.get(key) || {};
  const row = { season: data.season, date: today(), block: block().name, row: place[0],
    vine: place[1] };
  for (const name of data.measures) row[name] = missing ? "" : old[name] ?? "";
  if (!missing) Object.assign(row, entry.values);
  row.counter = now.counter || "";
  row.missing = missing ? "1" : "";
  row.at = Date.now();
  kept.set(key, row);
  onward();
  store(key);
}
function onward() {
  if (now.own) now.own = [now.own[0], /^\d+$/.test(now.own[1]) ? String(+now.own[1] + 1) : ""];
  else now.at[placeKey()] = stop() + 1;
  if (now.own && !now.own[1]) now.own = null;
  load();
  show();
}
function next() {
  if (!vine()) return;
  if (entry.field + 1 < measures().length) {
    remember();
    entry.field += 1;
    entry.fresh = true;
    show();
  } else if (Object.values(entry.values).some((value) => value !== "")) {
    finish(false);
  } else {
    remember();
    onward();
    store();
  }
}

// ---------------------------------------------------------------- screens
function show() {
  document.querySelectorAll("[data-tab]").forEach((each) =>
    each.setAttribute("aria-pressed", String(each.dataset.tab === now.tab)));
  el("block").hidden = now.tab !== "block";
  el("count").hidden = now.tab === "block";
  el("which").value = String(now.block);
  if (now.tab === "block") showBlock(); else showCount();
}
function showBlock() {
  const here = block();
  document.querySelectorAll(".drawing").forEach((each) => {
    each.hidden = each.dataset.block !== String(now.block);
  });
  el("plan").textContent = here.plan;
  el("plan-buds").textContent = say("plan_buds", { buds: here.buds, low: here.low,
    high: here.high });
  el("plan-of").textContent = say(`plan_${here.source}`, { season: here.of });
  el("weighs").textContent = say("weighs", { unit: data.unit.weight });
  el("formula").textContent = here.formula.text;
  el("slider").hidden = !here.reading;
  el("no-crop").hidden = Boolean(here.reading);
  if (here.reading) {
    const { buds } = here.reading;
    [el("buds").min, el("buds").max] = [buds[0], buds[buds.length - 1]];
    el("buds").value = now.buds ?? here.buds;
  }
  showRules();
}
function showRules() {
  const here = block();
  const live = here.reading ? Number(el("buds").value) : here.buds;
  const weight = typed("weight");
  el("by-weight").textContent = el("weight").value.trim() ? say("weight_wrong") : "";
  if (weight !== null) {
    const buds = whole(balanced(weight));
    const [low, high] = here.cap;
    el("by-weight").textContent = buds > high
      ? say("leave_capped", { low, high, buds }) : say("leave", { buds });
  }
  const [dead, cut] = [typed("dead"), typed("cut")];
  el("by-damage").textContent = "";
  if (dead !== null && cut > 0 && dead < cut) {
    const share = shareRange(dead, cut).map((each) => 100 * each);
    el("by-damage").textContent = say("damage", { share: ranged(share, (each) => number(each)),
      buds: whole(toLeave(live, dead / cut)), live });
  } else if (el("dead").value.trim() && el("cut").value.trim()) {
    el("by-damage").textContent = say("damage_wrong");
  }
  if (!here.reading) return;
  const found = reading(live);
  const { canes, spurs, each } = here.wood;
  el("live").textContent = live;
  const long = canes ? (live - spurs * each) / canes : live / each;
  const between = Number.isInteger(long) ? long : `${Math.floor(long)}–${Math.ceil(long)}`;
  el("as-plan").textContent = canes
    ? `${canes} × ${between}${spurs ? ` + ${spurs} × ${each}` : ""}` : `${between} × ${each}`;
  const told = (value, band) => say(judged(value[1], here.reading[band]));
  const wanted = (band) => {
    const [low, high] = here.reading[band].map((end) => number(end, Number.isInteger(end) ? 0 : 1));
    return say("wanted", { low, high });
  };
  el("shoots").textContent = ranged(found.shoots);
  el("shoots-word").textContent = `${told(found.shoots, "density")} · ${wanted("density")}`;
  for (const name of ["crop", "crop_settled", "balance", "balance_settled"]) {
    el(name).textContent = ranged(found[name]);
  }
  el("balance-word").textContent = told(found.balance, "band");
  el("balance_settled-word").textContent = told(found.balance_settled, "band");
  el("balance-band").textContent = wanted("band");
}
function showCount() {
  const place = vine();
  el("setup").hidden = now.counter !== null;
  el("vines").hidden = now.counter === null;
  el("who").textContent = now.counter || "–";
  el("place").textContent = place ? say("place", { row: place[0], vine: place[1] })
    : say(walk().length ? "walk_done" : "no_walk");
  el("step").textContent = !now.own && place
    ? say("step", { at: stop() + 1, of: walk().length }) : "";
  el("own").open = el("own").open || (!place && !walk().length);
  el("fields").replaceChildren(...measures().map((name, at) => {
    const field = document.createElement("button");
    field.type = "button";
    field.setAttribute("aria-pressed", String(at === entry.field));
    field.append(Object.assign(document.createElement("span"), { textContent: say(name) }),
      Object.assign(document.createElement("strong"),
        { textContent: entry.values[name] === "" ? "–" : entry.values[name] }));
    field.addEventListener("click", () => {
      remember();
      Object.assign(entry, { field: at, fresh: true });
      show();
    });
    return field;
  }));
  el("next").textContent = say(entry.field + 1 < measures().length ? "next_field" : "next_vine");
  el("what").hidden = now.tab === "crew";
  el("what").open = el("what").open || now.counter === null;
  document.querySelectorAll("[data-measure]").forEach((each) =>
    each.setAttribute("aria-pressed", String(now.measures.includes(each.dataset.measure))));
  showSoFar();
  showFiles();
}
function showSoFar() {
  const lines = [];
  for (const name of measures()) {
    const values = counted(name);
    if (!values.length) continue;
    const sample = meanOf(values, data.t.often);
    lines.push(say(sample.n > 1 ? "so_far" : "so_far_one", { what: say(name), n: sample.n,
      mean: sample.n > 1 ? ranged([sample.low, sample.mean, sample.high]) : figure(sample.mean) }));
  }
  const name = ["clusters", "shoots", "buds"].find((each) => measures().includes(each));
  if (now.tab === "crew") {
    const values = counted("buds");
    const word = values.length ? verdict(meanOf(values, data.t.sure), block().buds) : "too_few";
    el("verdict").textContent = say("against", { buds: block().buds, word: say(word) });
  } else if (name && block().worth[name]) {
    // What was counted before the page was made is in its range already.
    const n = counted(name, data.made).length;
    const { more, off } = worthOfHour(name, n);
    const small = new Intl.NumberFormat(data.language, { maximumSignificantDigits: 2 });
    lines.push(say("hour", { vines: more, off: small.format(off), unit: data.unit.tonnes,
      range: figure(rangeLeft(name, n)) }));
  }
  el("verdict").hidden = now.tab !== "crew";
  el("so-far").replaceChildren(...lines.map((line) =>
    Object.assign(document.createElement("p"), { textContent: line })));
}

// ---------------------------------------------------------------- files
function cell(value) {
  let text = String(value ?? "");
  // A spreadsheet would take it for a formula; the reader takes the apostrophe off again.
  if (/^[=+\-@＝＋－＠\t\r]/.test(text)) text = `'${text}`;
  return /[",;\r\n]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
const dayRows = (day) => rows().filter((row) => row.date === day).sort((a, b) => a.at - b.at);
const csv = (day) => [data.columns, ...dayRows(day).map((row) => data.columns.map((name) =>
  row[name]))].map((line) => line.map(cell).join(",") + "\r\n").join("");
const isSaved = (day) => dayRows(day).every((row) =>
  row.at <= (kept.get(JSON.stringify(["saved", day])) || 0));
async function save(day) {
  const who = (now.counter || "").replace(/[^\p{L}\p{N}]/gu, "");
  const name = `counts-${day}${who ? `-${who}` : ""}.csv`;
  // The mark at the start tells spreadsheets that names may be in any alphabet.
  const file = new File(["\ufeff", csv(day)], name, { type: "text/csv" });
  const last = Math.max(...dayRows(day).map((row) => row.at));
  try {
    if (navigator.canShare?.({ files: [file] })) await navigator.share({ files: [file] });
    else throw new Error("not shared here");
  } catch (fault) {
    if (fault.name === "AbortError") return;
    const link = Object.assign(document.createElement("a"),
      { href: URL.createObjectURL(file), download: name });
    document.body.append(link);
    link.click();
    link.remove();
  }
  const key = JSON.stringify(["saved", day]);
  kept.set(key, last);
  store(key);
}
function showFiles() {
  const days = [...new Set(rows().map((row) => row.date))].sort().reverse();
  el("save-now").hidden = keeps || !dayRows(today()).length;
  el("files").replaceChildren(...days.map((day) => {
    const line = document.createElement("li");
    const button = Object.assign(document.createElement("button"), { type: "button",
      textContent: say("save_day", { n: dayRows(day).length,
        day: new Intl.DateTimeFormat(data.language).format(new Date(`${day}T12:00`)) }) });
    button.addEventListener("click", () => save(day));
    line.append(button, Object.assign(document.createElement("span"),
      { textContent: say(isSaved(day) ? "saved" : "not_saved") }));
    return line;
  }));
}

// ---------------------------------------------------------------- what is touched
function go(change) {
  remember();
  change();
  load();
  show();
  store();
}
document.querySelectorAll("[data-tab]").forEach((each) =>
  each.addEventListener("click", () => go(() => Object.assign(now, { tab: each.dataset.tab,
    own: null }))));
el("which").addEventListener("change", (event) =>
  go(() => Object.assign(now, { block: Number(event.target.value), own: null, buds: null })));
document.querySelectorAll("[data-digit]").forEach((each) =>
  each.addEventListener("click", () => digit(each.dataset.digit)));
document.querySelectorAll(".undo").forEach((each) => each.addEventListener("click", undo));
el("next").addEventListener("click", next);
el("missing").addEventListener("click", () => { if (vine()) finish(true); });
document.querySelectorAll("[data-measure]").forEach((each) =>
  each.addEventListener("click", () => go(() => {
    const chosen = data.measures.filter((name) =>
      now.measures.includes(name) !== (name === each.dataset.measure));
    if (chosen.length) now.measures = chosen;
  })));
el("counter-form").addEventListener("submit", (event) => {
  event.preventDefault();
  go(() => { now.counter = el("counter").value.trim(); });
  el("what").open = false;
});
el("other-counter").addEventListener("click", () => go(() => { now.counter = null; }));
el("own-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const place = [el("own-row").value.trim(), el("own-vine").value.trim()];
  if (place.every(Boolean)) {
    go(() => { now.own = place; });
    el("own").open = false;
  }
});
el("walk-on").addEventListener("click", () => {
  go(() => { now.own = null; });
  el("own").open = false;
});
el("save-now").addEventListener("click", () => save(today()));
for (const id of ["weight", "dead", "cut"]) el(id).addEventListener("input", showRules);
el("buds").addEventListener("input", () => {
  now.buds = Number(el("buds").value);
  showRules();
});
document.querySelectorAll("[data-buds]").forEach((each) => each.addEventListener("click", () => {
  remember();
  el("buds").value = Number(el("buds").value) + Number(each.dataset.buds);
  now.buds = Number(el("buds").value);
  showRules();
}));
document.addEventListener("keydown", (event) => {
  if (now.tab === "block" || now.counter === null || event.target.matches("input, select")) return;
  if (/^\d$/.test(event.key)) digit(event.key);
  else if (event.key === "Backspace") undo();
});

// Nothing can be touched before it is known whether it will be kept.
const ready = tryKeeping().then(() => {
  document.querySelectorAll("[data-js]").forEach((each) => { each.hidden = false; });
  const last = kept.get("now");
  if (last) {
    const at = data.blocks.findIndex((each) => each.name === last.name);
    now = { ...last, block: Math.max(at, 0), buds: null, own: null };
  }
  load();
  show();
});

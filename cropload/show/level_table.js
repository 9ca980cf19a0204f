// The rows in which pruning levels are set: native boxes and sliders, and the answer in the row.
const NUMBERS = ["canes", "buds_per_cane", "spurs", "buds_per_spur"];
const CELLS = ["buds", "shoots", "crop", "balance"];

function make(tag, attributes = {}, text = "") {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.textContent = text;
  return node;
}

function render({ model, el }) {
  el.classList.add("cl-levels");
  const words = model.get("words");
  const head = make("div", { class: "cl-lv-row cl-lv-head", "aria-hidden": "true" });
  const body = make("div");
  el.append(head, body);
  const rows = [];
  let waiting = null;

  function send() {
    // While an answer is being worked out further moves are gathered, so none lags behind.
    if (model.get("answered") < model.get("asked")) { waiting = true; return; }
    waiting = false;
    model.set("levels", rows.map((row) => row.read()));
    model.set("asked", model.get("asked") + 1);
    model.save_changes();
  }

  function changed(row) {
    row.node.classList.add("cl-lv-stale");
    send();
  }

  function newRow(place) {
    const node = make("div", { class: "cl-lv-row", role: "group" });
    const name = make("input", { type: "text", class: "cl-lv-name", maxlength: 40 });
    const nameCell = make("div", { class: "cl-lv-called" });
    const plan = make("span", { class: "cl-lv-plan" });
    const away = make("button", { type: "button", class: "cl-lv-away" }, "×");
    nameCell.append(name, plan);
    node.append(nameCell);
    const boxes = {};
    const sliders = {};
    for (const key of NUMBERS) {
      const [label, low, high] = words[key];
      const cell = make("div", { class: "cl-lv-set" });
      const shown = make("span", { class: "cl-lv-label", "aria-hidden": "true" }, label);
      const box = make("input", { type: "number", step: 1, inputmode: "numeric" });
      const slider = make("input", { type: "range", min: low, max: high, step: 1 });
      box.addEventListener("input", () => { slider.value = box.value; changed(row); });
      slider.addEventListener("input", () => { box.value = slider.value; changed(row); });
      boxes[key] = box;
      sliders[key] = slider;
      cell.append(shown, box, slider);
      node.append(cell);
    }
    const cells = {};
    for (const key of CELLS) {
      cells[key] = make("div", { class: `cl-lv-cell cl-lv-${key}` });
      node.append(cells[key]);
    }
    node.append(away);
    const fault = make("div", { class: "cl-lv-fault", role: "alert" });
    node.append(fault);
    name.addEventListener("change", send);
    away.addEventListener("click", () => {
      const at = rows.indexOf(row);
      const levels = rows.map((each) => each.read());
      levels.splice(at, 1);
      model.set("levels", levels);
      model.set("asked", model.get("asked") + 1);
      model.save_changes();
    });
    const row = {
      node,
      read() {
        const found = { name: name.value };
        for (const key of NUMBERS) {
          found[key] = boxes[key].value === "" ? null : Number(boxes[key].value);
        }
        return found;
      },
      write(level, at, count) {
        node.setAttribute("aria-label", `${words.level} ${at + 1}`);
        name.setAttribute("aria-label", `${words.level} ${at + 1} ${words.called}`);
        name.placeholder = `${words.level} ${at + 1}`;
        away.setAttribute("aria-label", `${words.remove} ${words.level} ${at + 1}`);
        away.title = away.getAttribute("aria-label");
        away.disabled = count === 1;
        if (document.activeElement !== name) name.value = level.name;
        for (const key of NUMBERS) {
          const label = `${words.level} ${at + 1} ${words[key][0]}`;
          boxes[key].setAttribute("aria-label", label);
          sliders[key].setAttribute("aria-label", `${label}, ${words.slider}`);
          const value = level[key] === null ? "" : String(level[key]);
          const same = boxes[key].value !== "" && Number(boxes[key].value) === level[key];
          if (!same && document.activeElement !== boxes[key]) boxes[key].value = value;
          if (document.activeElement !== sliders[key]) sliders[key].value = boxes[key].value;
        }
      },
      answer(found) {
        for (const key of CELLS) cells[key].innerHTML = found[key] || "";
        plan.textContent = found.plan || "";
        fault.textContent = found.fault || found.note || "";
        node.classList.toggle("cl-lv-wrong", Boolean(found.fault));
        node.classList.remove("cl-lv-stale");
      },
    };
    return row;
  }

  function drawHead() {
    const found = model.get("head");
    head.replaceChildren(make("div", {}, words.level));
    for (const key of NUMBERS) head.append(make("div", {}, words[key][0]));
    for (const key of CELLS) {
      const cell = make("div", { class: `cl-lv-cell cl-lv-${key}` });
      cell.innerHTML = found[key] || "";
      head.append(cell);
    }
  }

  function drawLevels() {
    if (waiting) return;
    const levels = model.get("levels");
    while (rows.length > levels.length) rows.pop().node.remove();
    while (rows.length < levels.length) {
      const row = newRow(rows.length);
      rows.push(row);
      body.append(row.node);
    }
    levels.forEach((level, at) => rows[at].write(level, at, levels.length));
  }

  function drawAnswers() {
    if (waiting) { send(); return; }
    const found = model.get("rows");
    rows.forEach((row, at) => { if (found[at]) row.answer(found[at]); });
  }

  model.on("change:head", drawHead);
  model.on("change:levels", drawLevels);
  for (const name of ["answered", "rows"]) {
    model.on(`change:${name}`, () => { drawLevels(); drawAnswers(); });
  }
  drawHead();
  drawLevels();
  drawAnswers();
}

export default { render };

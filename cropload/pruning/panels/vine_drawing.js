// The vines of all levels: a click on a bud, or arrow keys on the wood, choose buds per piece.
const NEAR = 24; // px from a click to the bud it means
const WAIT = 400; // ms after the last arrow key until the number is sent

function render({ model, el }) {
  el.classList.add("cl-vines");
  let timer = null;

  function send(level, kind, buds) {
    clearTimeout(timer);
    model.set("chosen", { level: Number(level), [`buds_per_${kind}`]: inside(kind, buds) });
    model.save_changes();
  }

  function inside(kind, buds) {
    return Math.min(Math.max(buds, model.get("least")[kind]), model.get("most")[kind]);
  }

  function kindOf(node) { return node.dataset.cane ? "cane" : "spur"; }

  function levelOf(node) { return node.closest("figure").dataset.level; }

  function nearest(svg, x, y) {
    let found = null;
    let least = NEAR;
    for (const bud of svg.querySelectorAll(".cl-bud")) {
      const box = bud.getBoundingClientRect();
      const away = Math.hypot(box.x + box.width / 2 - x, box.y + box.height / 2 - y);
      if (away < least) { least = away; found = bud; }
    }
    return found;
  }

  function ready(wood) {
    const kind = kindOf(wood);
    wood.setAttribute("tabindex", "0");
    wood.setAttribute("role", "slider");
    const name = wood.closest("figure").querySelector("strong").textContent;
    wood.setAttribute("aria-label", `${name}, buds per ${kind}`);
    wood.setAttribute("aria-valuemin", model.get("least")[kind]);
    wood.setAttribute("aria-valuemax", model.get("most")[kind]);
    wood.setAttribute("aria-valuenow", wood.querySelectorAll(".cl-bud").length);
    wood.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key] || 0;
      if (!step && event.key !== "Enter") return;
      event.preventDefault();
      const buds = inside(kind, Number(wood.getAttribute("aria-valuenow")) + step);
      wood.setAttribute("aria-valuenow", buds);
      clearTimeout(timer);
      const now = () => send(levelOf(wood), kind, buds);
      if (step) timer = setTimeout(now, WAIT); else now();
    });
  }

  function draw() {
    clearTimeout(timer);
    const held = el.contains(document.activeElement) ? document.activeElement : null;
    const back = held && held.closest("[role=slider]") && [levelOf(held), kindOf(held)];
    const open = el.querySelector("details")?.open;
    el.innerHTML = model.get("html");
    if (open) el.querySelector("details").open = true;
    for (const figure of el.querySelectorAll("figure")) {
      const svg = figure.querySelector("svg");
      // Its pieces can be reached one by one, so it is a group and no longer one image.
      svg.setAttribute("role", "group");
      svg.addEventListener("click", (event) => {
        const bud = nearest(svg, event.clientX, event.clientY);
        if (bud) send(figure.dataset.level, kindOf(bud), Number(bud.dataset.bud));
      });
      // All canes of a vine have the same buds: one stop for the keyboard is enough.
      for (const kind of ["cane", "spur"]) {
        const wood = svg.querySelector(`.cl-${kind}`);
        if (!wood) continue;
        ready(wood);
        if (back && back[0] === figure.dataset.level && back[1] === kind) wood.focus();
      }
    }
  }

  model.on("change:html", draw);
  draw();
  return () => clearTimeout(timer);
}

export default { render };

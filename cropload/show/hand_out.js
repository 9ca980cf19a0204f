// A button that asks the program for a page or a file, and opens or saves what comes.
function render({ model, el }) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "jupyter-button widget-button cl-hand-out";
  let tab = null;
  function draw() {
    button.textContent = model.get("label");
    button.disabled = model.get("disabled");
  }
  button.addEventListener("click", () => {
    // Opened by the click itself: a browser stops what opens later by itself.
    tab = model.get("opens") ? window.open("", "_blank") : null;
    model.send({ wanted: true });
  });
  model.on("msg:custom", (message, buffers) => {
    if (message.fault) { if (tab) tab.close(); return; }
    const bytes = buffers[0].buffer ? new Uint8Array(
      buffers[0].buffer, buffers[0].byteOffset, buffers[0].byteLength) : buffers[0];
    const address = URL.createObjectURL(new Blob([bytes], { type: message.kind }));
    if (tab) { tab.location = address; return; }
    const link = document.createElement("a");
    link.href = address;
    link.download = message.name;
    link.click();
  });
  model.on("change", draw);
  draw();
  el.append(button);
}
export default { render };

"""The address of a page: what it says when the page opens, and links from one page to another.

A page without code may have been rendered before anybody asked for it, so what its address says
(``?block=Long+Acre``) reaches it only when a browser shows it.
"""

import os
from html import escape
from pathlib import PurePosixPath
from urllib.parse import urlencode

import anywidget
import traitlets

# In JupyterLab the address belongs to the lab, so what a page says is kept for the tab instead,
# under the name of its notebook, and a link opens the other notebook in the same lab.
_BROWSER = """
const own = (query) => Object.fromEntries(
  [...new URLSearchParams(query)].filter(([name]) => name !== "token" && name !== "reset"));
const inLab = () => document.body.dataset.voila === undefined;
const place = (page) => "cropload:" + page;

function go(page, query) {
  const words = new URLSearchParams(query).toString();
  const address = page + (words ? "?" + words : "");
  if (!inLab()) { location.assign(address); return; }
  sessionStorage.setItem(place(page), words);
  const lab = window.jupyterapp;
  const here = lab?.shell?.currentWidget?.context?.path ?? "";
  const path = here.slice(0, here.lastIndexOf("/") + 1) + page;
  if (lab) { lab.commands.execute("docmanager:open", { path }); return; }
  const config = JSON.parse(document.getElementById("jupyter-config-data")?.textContent ?? "{}");
  location.assign((config.baseUrl ?? "/") + "lab/tree/" + path);
}

function follow(event) {
  const link = event.target.closest?.("a[data-page]");
  if (!link || !inLab() || event.button || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  go(link.dataset.page, own(link.getAttribute("href").split("?")[1] ?? ""));
}

function render({ model, el }) {
  el.style.display = "none";
  const page = model.get("_page");
  const write = () => {
    const words = new URLSearchParams(model.get("query")).toString();
    if (inLab()) { sessionStorage.setItem(place(page), words); return; }
    const address = location.pathname + (words ? "?" + words : "") + location.hash;
    history.replaceState(history.state, "", address);
  };
  const received = (message) => { if (message.go) go(message.go, message.query); };
  model.on("change:query", write);
  model.on("msg:custom", received);
  if (!window.croploadLinks) {
    window.croploadLinks = true;
    document.addEventListener("click", follow);
  }
  const kept = inLab() ? sessionStorage.getItem(place(page)) : null;
  model.send({ opened: own(kept ?? location.search) });
  return () => { model.off("change:query", write); model.off("msg:custom", received); };
}
export default { render };
"""


class Address(anywidget.AnyWidget):
    """The address of the page it is displayed in; draws nothing.

    Attributes
    ----------
    query : dict of str
        What the address says, as last opened or said.

    Notes
    -----
    Valid in a page without code, in JupyterLab, and without a browser, where nobody opens it.
    """

    _esm = _BROWSER
    _page = traitlets.Unicode().tag(sync=True)
    query = traitlets.Dict().tag(sync=True)

    def __init__(self):
        # The lab tells a kernel the path of its notebook.
        super().__init__(_page=PurePosixPath(os.environ.get("JPY_SESSION_NAME", "")).name)
        self._callbacks = []
        self.on_msg(self._received)

    def on_open(self, callback):
        """Call back with what the address says, as a dict of str, when a browser shows the page."""
        self._callbacks.append(callback)

    def opened(self, query):
        """Tell those who wait what the address says, as a browser does that shows the page."""
        query = _words(query)
        self.query = query
        for callback in self._callbacks:
            callback(dict(query))

    def say(self, **values):
        """Make the address say these values and nothing else; None and ``""`` are left out."""
        self.query = _words(values)

    def go(self, page, **values):
        """Open another page, given as the name of its notebook, with what its address says."""
        self.send({"go": _notebook(page), "query": _words(values)})

    def _received(self, _widget, content, _buffers):
        if isinstance(content, dict) and isinstance(content.get("opened"), dict):
            self.opened(content["opened"])


def page_link(page, words, /, **query):
    """Return a link to another page, as HTML, that works in a page without code and in the lab.

    Parameters
    ----------
    page : str
        Name of its notebook, with or without ``.ipynb``.
    words : str
        What the reader sees.
    **query
        What the address of the page is to say; None and ``""`` are left out.
    """
    page, query = _notebook(page), urlencode(_words(query))
    address = f"{page}?{query}" if query else page
    return f'<a href="{escape(address)}" data-page="{escape(page)}">{escape(str(words))}</a>'


def _notebook(page):
    return page if page.endswith(".ipynb") else f"{page}.ipynb"


def _words(values):
    return {str(name): str(value) for name, value in values.items() if value not in (None, "")}

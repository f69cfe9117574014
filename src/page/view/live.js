"use strict";
// Keeps what a page shows in step with the house. Without it the page works the same and shows the moment it was made at.
(() => {
  const fresh = document.body.dataset.fresh;
  if (!fresh || !window.EventSource) return;
  const line = document.getElementById("link");
  const atMost = 700; // ms between two looks
  const atLeast = 20000; // ms after which ages and figures are old
  let source = null;
  let looking = false;
  let wanted = false;
  let timer = 0;

  function say(state, text) {
    if (line.dataset.state === state) return;
    line.dataset.state = state;
    line.textContent = text;
  }

  // How what has the focus is found in the block that takes the place of its own.
  function wayTo(focused) {
    if (focused?.matches("summary") && focused.parentElement.id) return "#" + CSS.escape(focused.parentElement.id) + " > summary";
    const leads = focused?.getAttribute("href");
    return leads ? `a[href="${CSS.escape(leads)}"]` : null;
  }

  function replace(block, next) {
    const focused = block.contains(document.activeElement) ? document.activeElement : null;
    if (focused?.matches("input, select, button, pre")) return;
    for (const open of block.querySelectorAll("details[open][id]")) {
      const same = next.querySelector("#" + CSS.escape(open.id));
      if (same) same.open = true;
    }
    const way = wayTo(focused);
    block.replaceWith(document.importNode(next, true));
    if (way) document.getElementById(block.id)?.querySelector(way)?.focus({ preventScroll: true });
  }

  async function look() {
    if (looking || document.hidden) { wanted = true; return; }
    looking = true;
    wanted = false;
    try {
      const answer = await fetch(fresh, { cache: "no-store", signal: AbortSignal.timeout(10000) });
      if (answer.redirected) { location.reload(); return; }
      if (!answer.ok) throw new Error(answer.statusText);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const block of document.querySelectorAll("[data-live][id]")) {
        const next = page.getElementById(block.id);
        if (next && next.outerHTML !== block.outerHTML) replace(block, next);
      }
      if (source && source.readyState === EventSource.OPEN) say("live", "Live: what changes shows at once.");
    } catch {
      say("lost", "No connection: this is how it was then, not how it is.");
    }
    setTimeout(() => { looking = false; if (wanted) look(); }, atMost);
    clearTimeout(timer);
    timer = setTimeout(look, atLeast);
  }

  function listen() {
    source = new EventSource("/api/live");
    source.onopen = look;
    source.onmessage = look;
    for (const kind of ["load", "sensor", "alarm", "selector", "setpoint", "board", "broker", "house"]) {
      source.addEventListener(kind, look);
    }
    source.onerror = () => {
      say("lost", "No connection: this is how it was then, not how it is.");
      // It tries again by itself unless it was refused; then a page loaded anew says why.
      if (source.readyState === EventSource.CLOSED) setTimeout(() => { listen(); look(); }, 3000);
    };
  }

  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => { if (event.persisted) { listen(); look(); } });
  listen();
})();

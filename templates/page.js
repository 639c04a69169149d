"use strict";
// The page without this script shows everything, one below the other. With it, one thing at a time: the overview, the list
// of records, or the place of one record. The address says which: #section, #_records?kind=part&q=hub, #record-id.
document.documentElement.className = "js";

// A newer page asks an older one for its state: the answer is sent before anything is drawn.
const state = document.currentScript.dataset.state;
const asked = window.parent !== window;
if (asked) {
  window.parent.postMessage({ tierod: state }, "*");
  window.stop();
}

if (!asked) addEventListener("DOMContentLoaded", () => {
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const byId = (id) => document.getElementById(id);
  const [overview, list, places] = ["overview", "list", "places"].map(byId);
  const rows = all("#_records tbody tr");
  const form = byId("filter");
  const search = byId("search");
  const columns = { kind: 2, system: 3, lead: 4, status: 5 };
  const keys = Object.keys(columns);
  const facts = rows.map((row) => Object.fromEntries(keys.map((key) => [key, row.cells[columns[key]].textContent.trim()])));
  const title = document.title;

  // Addresses.

  const address = () => {
    let text = location.hash.slice(1);
    try { text = decodeURIComponent(text); } catch { /* as it is */ }
    const [name, query = ""] = text.split(/\?(.*)/s);
    return { name, query: new URLSearchParams(query) };
  };
  const focusable = () => all("a[href], button, input, select, summary, [tabindex]");
  const memory = new Map();
  let shown = null;
  let pressed = false;

  const remember = () => {
    if (shown !== null) memory.set(shown, { y: scrollY, focus: focusable().indexOf(document.activeElement) });
  };
  const show = (view) => {
    overview.hidden = view !== "overview";
    list.hidden = view !== "list";
    places.hidden = view !== "place";
  };
  const focus = (element) => element && element.focus({ preventScroll: true });

  const route = (first) => {
    const { name, query } = address();
    const here = byId(name);
    const place = here && here.classList.contains("place") ? here : null;
    all(".place.here").forEach((old) => old.classList.remove("here"));
    all("nav a").forEach((link) => {
      const on = link.hash === (name === "_records" ? "#_records" : place ? "" : "#_top");
      if (on) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
    });
    const typing = form.contains(document.activeElement) || document.activeElement === search;
    if (name === "_records") {
      show("list");
      filter(query);
      document.title = `Records – ${title}`;
    } else if (place) {
      show("place");
      place.classList.add("here");
      document.title = `${place.querySelector("h2").textContent} – ${title}`;
    } else {
      show("overview");
      document.title = title;
    }
    const old = memory.get(location.hash);
    shown = location.hash;
    if (typing && name === "_records") return;
    if (!pressed && old) {
      scrollTo(0, old.y);
      focus(focusable()[old.focus]);
    } else if (place || name === "_records") {
      scrollTo(0, 0);
      if (!first || place) focus((place || list).querySelector("h2"));
    } else if (here && name !== "_top") {
      here.scrollIntoView();
      focus(here.querySelector("h2"));
    } else if (!first) {
      scrollTo(0, 0);
      focus(overview.querySelector("h1"));
    }
    pressed = false;
  };
  // Where one was is kept when a link is pressed, and when one goes back or forward.
  addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest("a[href^='#']");
    if (link) { remember(); pressed = link.hash !== location.hash; }
  }, true);
  let waiting = 0;
  addEventListener("scroll", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => { if (shown === location.hash) remember(); }, 120);
  }, { passive: true });
  addEventListener("hashchange", () => route(false));
  history.scrollRestoration = "manual";

  // On a phone a row of a wide table is a block of its own, with the heads beside the cells.
  for (const table of document.querySelectorAll("#overview .wide > table:not(.stack)")) {
    const heads = [...table.tHead.rows[0].cells].map((head) => head.textContent);
    for (const row of table.tBodies[0].rows) for (const [at, cell] of [...row.cells].entries()) if (cell.tagName === "TD") cell.dataset.h = heads[at];
    table.classList.add("stack");
  }

  // The list of records and its filter.

  const filter = (query) => {
    const words = (query.get("q") || "").toLowerCase().split(/\s+/).filter(Boolean);
    const wanted = keys.map((key) => query.get(key) || "");
    let count = 0;
    for (const [at, row] of rows.entries()) {
      const own = row.dataset.words || (row.dataset.words = row.textContent.toLowerCase());
      const hit = words.every((word) => own.includes(word)) && keys.every((key, n) => !wanted[n] || facts[at][key] === wanted[n]);
      row.hidden = !hit;
      count += hit;
    }
    byId("count").textContent = `${count} of ${rows.length} records`;
    keys.forEach((key, at) => { form.elements[key].value = wanted[at]; });
    const text = query.get("q") || "";
    if (search.value !== text && document.activeElement !== search) search.value = text;
  };
  const go = (query, replace) => {
    const text = query.toString();
    const hash = `#_records${text ? `?${text}` : ""}`;
    if (hash === location.hash) return;
    remember();
    if (replace) location.replace(hash); else location.hash = hash;
  };
  const chosen = () => {
    const query = new URLSearchParams();
    if (search.value.trim()) query.set("q", search.value.trim());
    for (const key of keys) if (form.elements[key].value) query.set(key, form.elements[key].value);
    return query;
  };
  for (const key of keys) {
    const values = [...new Set(facts.map((own) => own[key]).filter(Boolean))].sort();
    for (const value of values) form.elements[key].add(new Option(value, value));
  }
  form.hidden = false;
  byId("find").hidden = false;
  form.addEventListener("change", () => go(chosen(), address().name === "_records"));
  form.addEventListener("submit", (event) => event.preventDefault());
  byId("every").addEventListener("click", () => { search.value = ""; form.reset(); go(new URLSearchParams(), true); });
  search.addEventListener("input", () => go(chosen(), address().name === "_records"));
  byId("find").addEventListener("submit", (event) => {
    event.preventDefault();
    go(chosen(), address().name === "_records");
    // An exact name comes before a text that only contains it.
    const hits = rows.filter((row) => !row.hidden);
    const name = search.value.trim().toLowerCase();
    const named = (row) => [row.querySelector("a").textContent, row.querySelector("a").hash.slice(1)].some((own) => own.trim().toLowerCase() === name);
    const first = hits.find(named) || hits[0];
    if (first && search.value.trim()) { search.blur(); first.querySelector("a").click(); }
  });
  addEventListener("keydown", (event) => {
    if (event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey && !/^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName)) {
      event.preventDefault();
      search.focus();
    }
  });

  // Tables sort by a press on the head of a column.

  const order = (cell) => {
    const text = (cell ? cell.dataset.v || cell.textContent : "").trim().replaceAll("−", "-");
    if (text === "" || /^\d{4}-\d\d-\d\d/.test(text)) return text;
    const number = /^[≤≥(+ ]*(?:at (?:most|least) )?(-?\d+(?:\.\d+)?)(?![\w-])/.exec(text.replace(/(\d)[  ](?=\d{3})/g, "$1"));
    return number ? parseFloat(number[1]) : text.toLowerCase();
  };
  const compare = (a, b) => {
    if (a === "" || b === "") return a === b ? 0 : a === "" ? 1 : -1;
    if (typeof a !== typeof b) return typeof a === "number" ? -1 : 1;
    return a < b ? -1 : a > b ? 1 : 0;
  };
  for (const table of all("table.sort")) {
    const heads = all("thead th", table);
    heads.forEach((head, column) => {
      if (!head.textContent.trim()) return;
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        for (const body of table.tBodies) {
          const sorted = [...body.rows].filter((row) => !row.classList.contains("total"));
          const by = new Map(sorted.map((row) => [row, order(row.cells[column])]));
          sorted.sort((a, b) => {
            const [x, y] = [by.get(a), by.get(b)];
            return x === "" || y === "" || !down ? compare(x, y) : compare(y, x);
          });
          body.append(...sorted, ...[...body.rows].filter((row) => row.classList.contains("total")));
        }
      });
    });
  }

  // All that is folded is printed, in what is shown.

  let opened = [];
  addEventListener("beforeprint", () => {
    opened = all("details:not([open])").filter((fold) => fold.offsetParent);
    for (const fold of opened) fold.open = true;
  });
  addEventListener("afterprint", () => { for (const fold of opened) fold.open = false; });

  // A page that is written again and again looks for the next one: its file, in a frame that is never seen, sends its state.

  const kept = "tierod-page";
  const renew = () => {
    remember();
    const now = { hash: location.hash, memory: [...memory], search: search.value, open: all("details").map((fold) => fold.open),
      at: document.activeElement === search ? search.selectionStart : null };
    try { sessionStorage.setItem(kept, JSON.stringify(now)); } catch { /* the address is kept anyway */ }
    location.reload();
  };
  if (document.documentElement.dataset.renews) {
    const frame = document.createElement("iframe");
    frame.hidden = true;
    frame.title = "the next page";
    document.body.append(frame);
    let answered = false;
    let quiet = 0;
    const ask = () => {
      quiet = answered ? 0 : quiet + 1;
      answered = false;
      // Where no frame may be opened, the page is loaded again now and then.
      if (quiet > 5) renew(); else frame.src = location.href.split("#")[0];
    };
    addEventListener("message", (event) => {
      if (event.source !== frame.contentWindow || !event.data || !event.data.tierod) return;
      answered = true;
      if (event.data.tierod !== state) renew();
    });
    setInterval(() => { if (!document.hidden) ask(); }, 1000);
  }
  let before = null;
  try {
    before = JSON.parse(sessionStorage.getItem(kept));
    sessionStorage.removeItem(kept);
  } catch { /* nothing was kept */ }
  if (before && before.hash === location.hash) {
    for (const [hash, where] of before.memory) memory.set(hash, where);
    const folds = all("details");
    if (folds.length === before.open.length) folds.forEach((fold, at) => { fold.open = before.open[at]; });
    search.value = before.search;
    route(true);
    if (before.at !== null) { search.focus({ preventScroll: true }); search.setSelectionRange(before.at, before.at); }
  } else {
    route(true);
  }
});

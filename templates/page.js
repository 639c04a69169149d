// The page without this script shows everything, one below the other. With it, one thing at a time: the overview, the list
// of records, or the place of one record. The address says which: #_section, #_records?kind=part&q=hub, #record-id. What is
// not a record begins with a character that no id of a record has.
document.documentElement.className = "js";

// A newer page asks an older one for its state: the answer is sent before anything is drawn.
const stamp = document.currentScript.dataset.stamp;
const asked = window.parent !== window;
if (asked) {
  window.parent.postMessage({ tierod: stamp }, "*");
  window.stop();
}

if (!asked) addEventListener("DOMContentLoaded", () => {
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const byId = (id) => document.getElementById(id);
  const [overview, list, places] = ["_overview", "_list", "_places"].map(byId);
  const rows = all("#_records tbody tr");
  const form = byId("_filter");
  const search = byId("_search");
  const nothing = byId("_nothing");
  const columns = { kind: 2, system: 3, lead: 4, status: 5 };
  const keys = Object.keys(columns);
  const facts = rows.map((row) => keys.map((key) => row.cells[columns[key]].textContent.trim()));
  const numbers = new Map(rows.map((row, at) => [row, at]));
  const words = [];
  let hits = rows;
  // A browser needs long to lay out a table of thousands of rows: these are listed, and the others by press.
  const most = 500;
  let unbounded = false;
  let partly = false;
  const title = document.title;

  // Addresses.

  const address = () => {
    let text = location.hash.slice(1);
    try { text = decodeURIComponent(text); } catch { /* as it is */ }
    const [name, query = ""] = text.split(/\?(.*)/s);
    return { name, query: new URLSearchParams(query) };
  };
  // What has the focus: the part of the page that it is in, its name, and its number among those with this name.
  const named = (part, name) => all("a[href], button, input, select, summary, [tabindex]", part).filter((one) => nameOf(one) === name);
  const nameOf = (element) => element.hash || element.id || element.name || element.textContent;
  const focused = () => {
    const element = document.activeElement;
    const part = element.closest(".place, #_overview, #_list, .bar");
    if (!part || part === element) return null;
    const name = nameOf(element);
    return [part.id, name, named(part, name).indexOf(element)];
  };
  const focusAt = (kept) => {
    const part = kept && (kept[0] ? byId(kept[0]) : document.querySelector(".bar"));
    if (part) focus(named(part, kept[1])[kept[2]]);
  };
  const memory = new Map();
  let shown = null;
  let pressed = false;

  const remember = () => {
    if (shown !== null) memory.set(shown, { y: scrollY, focus: focused() });
  };
  const show = (view) => {
    overview.hidden = view !== "overview";
    list.hidden = view !== "list";
    places.hidden = view !== "place";
  };
  const focus = (element) => {
    if (element && element.tabIndex < 0) element.tabIndex = -1;
    if (element) element.focus({ preventScroll: true });
  };

  const route = (first) => {
    const { name, query } = address();
    const here = byId(name);
    const place = here && here.classList.contains("place") ? here : null;
    all(".place.here").forEach((old) => old.classList.remove("here"));
    all("nav a").forEach((link) => {
      const on = link.hash === (name === "_records" ? "#_records" : place ? "" : "#_top");
      if (on) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
    });
    // An address made by hand, or of a record that is gone.
    const known = !name || here || rows.some((row) => row.cells[1].textContent === name);
    nothing.hidden = known;
    nothing.textContent = known ? "" : `no record with the id ${name}`;
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
      focusAt(old.focus);
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
  for (const table of document.querySelectorAll(":is(#_overview, .place) .wide > table:not(.stack)")) {
    const heads = [...table.tHead.rows[0].cells].map((head) => head.textContent);
    for (const row of table.tBodies[0].rows) for (const [at, cell] of [...row.cells].entries()) if (cell.tagName === "TD") cell.dataset.h = heads[at];
    table.classList.add("stack");
  }

  // The list of records and its filter.

  // The edits from one word to another: a letter more, less, another one, or two that changed places.
  const edits = (a, b) => {
    let [before, last] = [[], [...Array(b.length + 1).keys()]];
    for (let i = 1; i <= a.length; i += 1) {
      const next = [i];
      for (let j = 1; j <= b.length; j += 1) {
        next[j] = Math.min(last[j] + 1, next[j - 1] + 1, last[j - 1] + (a[i - 1] !== b[j - 1]));
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) next[j] = Math.min(next[j], before[j - 2] + 1);
      }
      [before, last] = [last, next];
    }
    return last[b.length];
  };
  let vocabulary = null;
  // The word of a title or an id that is nearest to a word that is in no record.
  const nearest = (word) => {
    vocabulary ??= [...new Set(rows.flatMap((row) => `${row.querySelector("a, th").textContent} ${row.cells[1].textContent}`.toLowerCase().match(/[^\s.,;:()/-]{3,}/g) || []))];
    let [best, least] = [null, word.length < 4 ? 0 : word.length < 8 ? 1.5 : 2.5];
    for (const own of vocabulary) {
      const by = Math.abs(own.length - word.length) < least ? edits(word, own) : least;
      if (by < least) [best, least] = [own, by];
    }
    return best;
  };
  // A status of two words is one word, and what is due, unproven, changed or in a finding is in other sections.
  const joined = (text) => text.toLowerCase().replaceAll("at risk", "at_risk");
  const states = new Map();
  const mark = (links, state) => links.forEach((link) => states.set(link.hash, `${states.get(link.hash) || ""} ${state}`));
  mark(all("#_due details .what a"), "due");
  mark(all("#_due details .day:has(.bad) + .what a"), "overdue");
  mark(all("#_unproven th a"), "unproven");
  mark(all("#_limits th a, #_recent a"), "changed");
  all("#_findings li, #_open tr").forEach((own) => mark(own.querySelectorAll("a"), [...own.querySelectorAll("small")].map((one) => one.textContent).join(" ")));
  const filter = (query) => {
    const typed = joined(query.get("q") || "").split(/\s+/).filter(Boolean);
    const wanted = keys.map((key) => query.get(key) || "");
    const every = rows.length ? [...rows[0].parentElement.rows] : [];
    const having = (asked) => every.map((row) => {
      const at = numbers.get(row);
      const own = words[at] ??= joined(`${row.textContent} ${states.get(`#${row.cells[1].textContent}`) || ""}`);
      return wanted.every((value, n) => !value || facts[at][n] === value) ? asked.filter((word) => own.includes(word)).length : -1;
    });
    let [asked, found] = [typed, having(typed)];
    // A record need not have the short words, other than numbers, as in M8.
    const long = typed.filter((word) => word.length > 2 || /\d/.test(word));
    if (long.length && !found.includes(typed.length)) [asked, found] = [long, having(long)];
    // Without a record that has all words, those that have most of them.
    const best = found.reduce((a, b) => Math.max(a, b), Math.min(1, asked.length));
    partly = best < asked.length;
    hits = [];
    every.forEach((row, n) => {
      const hit = found[n] === best;
      if (hit) hits.push(row);
      const listed = hit && (unbounded || hits.length <= most);
      if (row.hidden === listed) row.hidden = !listed;
    });
    more.hidden = unbounded || hits.length <= most;
    const of = `${hits.length} of ${rows.length} record${rows.length === 1 ? "" : "s"}`;
    const which = partly && hits.length ? `: none has all ${asked.length} words, ${hits.length === 1 ? "this has" : "these have"} ${best}` : "";
    byId("_count").textContent = `${of}${which}${more.hidden ? "" : `, the first ${most} are listed`}`;
    const unknown = hits.length && !partly ? [] : asked.filter((word) => (word.length > 4 || !hits.length) && !words.some((own) => own.includes(word)));
    const meant = new Map(unknown.map((word) => [word, nearest(word)]).filter(([, own]) => own));
    if (meant.size) {
      const next = new URLSearchParams(query);
      next.set("q", typed.map((word) => meant.get(word) || word).join(" ").replace("at_risk", "at risk"));
      const link = document.createElement("a");
      link.href = `#_records?${next}`;
      link.textContent = next.get("q");
      byId("_count").append(". Similar: ", link);
    }
    keys.forEach((key, at) => { form.elements[key].value = wanted[at]; });
    const text = query.get("q") || "";
    if (search.value !== text && document.activeElement !== search) search.value = text;
  };
  const more = document.createElement("button");
  more.type = "button";
  more.textContent = "list all of them";
  more.addEventListener("click", () => {
    const next = hits[most];
    unbounded = true;
    filter(address().query);
    focus(next.querySelector("a"));
  });
  byId("_records").append(more);
  const go = (query, replace) => {
    const text = query.toString();
    const hash = `#_records${text ? `?${text}` : ""}`;
    if (hash === location.hash) return;
    unbounded = false;
    remember();
    if (replace) location.replace(hash); else location.hash = hash;
  };
  const chosen = () => {
    const query = new URLSearchParams();
    if (search.value.trim()) query.set("q", search.value.trim());
    for (const key of keys) if (form.elements[key].value) query.set(key, form.elements[key].value);
    return query;
  };
  for (const [n, key] of keys.entries()) {
    const values = [...new Set(facts.map((own) => own[n]).filter(Boolean))].sort();
    for (const value of values) form.elements[key].add(new Option(value, value));
  }
  form.hidden = false;
  byId("_find").hidden = false;
  form.addEventListener("change", () => go(chosen(), address().name === "_records"));
  form.addEventListener("submit", (event) => event.preventDefault());
  byId("_every").addEventListener("click", () => { search.value = ""; form.reset(); go(new URLSearchParams(), true); });
  search.addEventListener("input", () => go(chosen(), address().name === "_records"));
  byId("_find").addEventListener("submit", (event) => {
    event.preventDefault();
    go(chosen(), address().name === "_records");
    // An exact name comes before a text that only contains it.
    const name = search.value.trim().toLowerCase();
    const isNamed = (row) => [row.querySelector("a").textContent, row.querySelector("a").hash.slice(1)].some((own) => own.trim().toLowerCase() === name);
    // Of the others one whose title begins with it, then the shortest title with it.
    const titleOf = (row) => row.querySelector("a").textContent.trim().toLowerCase();
    const titled = hits.filter((row) => titleOf(row).includes(name));
    titled.sort((a, b) => titleOf(b).startsWith(name) - titleOf(a).startsWith(name) || titleOf(a).length - titleOf(b).length);
    const first = hits.find(isNamed) || titled[0] || hits[0];
    if (first && !partly && search.value.trim()) { search.blur(); first.querySelector("a").click(); }
  });
  addEventListener("keydown", (event) => {
    if (event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey && !/^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName)) {
      event.preventDefault();
      search.focus();
    }
  });

  for (const table of all("table.sort")) sortable(table, () => { if (list.contains(table)) filter(address().query); });

  // A page that is written again and again looks for the next one: its file, in a frame that is never seen, sends its state.

  const kept = `tierod ${location.pathname}`;
  // A fold is the same one if it has the same words in the same part of the page, whatever else was added.
  const folds = () => {
    const seen = new Map();
    return all("details").map((fold) => {
      const link = fold.parentElement.querySelector(":scope > a");
      const name = [fold.closest("[id]").id, link ? link.hash : "", fold.firstElementChild.textContent.replace(/\d+/g, "")].join(" ");
      seen.set(name, (seen.get(name) || 0) + 1);
      return [`${name} ${seen.get(name)}`, fold];
    });
  };
  const renew = () => {
    remember();
    const now = { hash: location.hash, memory: [...memory], search: search.value, folds: folds().map(([name, fold]) => [name, fold.open]),
      at: document.activeElement === search ? search.selectionStart : null };
    try { sessionStorage.setItem(kept, JSON.stringify(now)); } catch { /* the address is kept anyway */ }
    location.reload();
  };
  if (document.documentElement.dataset.renews) {
    const frame = document.createElement("iframe");
    frame.hidden = true;
    frame.title = "the next page";
    document.body.append(frame);
    // One answer is waited for at a time, for a slow machine must be able to give it. Where no frame may be opened, the page
    // is loaded again now and then.
    let waited = 0;
    const ask = () => {
      if (waited === 0) frame.src = location.href.split("#")[0];
      waited += 1;
      if (waited > 10) renew();
    };
    addEventListener("message", (event) => {
      if (event.source !== frame.contentWindow || !event.data || !event.data.tierod) return;
      waited = 0;
      if (event.data.tierod !== stamp) renew();
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
    const open = new Map(before.folds);
    for (const [name, fold] of folds()) if (open.has(name)) fold.open = open.get(name);
    search.value = before.search;
    route(true);
    if (before.at !== null) { search.focus({ preventScroll: true }); search.setSelectionRange(before.at, before.at); }
  } else {
    route(true);
  }
});

"use strict";
// The records of the page, each with its chains to the goal; the filter of the targets; tables that sort. The address says what
// is shown. Without this script everything but the chains is there.
const all = Object.assign(Object.create(null), JSON.parse(document.getElementById("data").textContent)), at = (id) => document.getElementById(id);
const make = (tag, text, kind) => { const e = document.createElement(tag); e.textContent = text; if (kind) e.className = kind; return e; };
const name = (id, text) => { const b = make("button", text ?? id, "id"); b.type = "button"; b.dataset.id = id; return b; };
const below = Object.create(null);
for (const id in all) for (const [to] of all[id].up) (below[to] ||= []).push(id);
// The paths to a goal, the shortest first, searched breadth-first without a cycle; the numbers of paths and of steps are bounded.
const MOST_WAYS = 8, MOST_STEPS = 4000;
function ways(id) {
  const found = [], queue = [[[id, null, null]]];
  let more = false;
  for (let at = 0; at < queue.length; at += 1) {
    const path = queue[at], here = path[path.length - 1][0];
    if (all[here].kind === "goal") {
      if (found.length === MOST_WAYS) { more = true; break; }
      found.push(path);
      continue;
    }
    for (const [to, link, why] of all[here].up) {
      if (!all[to] || path.some((step) => step[0] === to)) continue;
      if (queue.length >= MOST_STEPS) { more = true; break; }
      queue.push([...path.slice(0, -1), [here, link, why], [to, null, null]]);
    }
  }
  return { found: found.length ? found : [[[id, null, null]]], more };
}
function show(id) {
  const r = all[id], { found, more } = ways(id);
  at("why-h").textContent = r.title;
  at("why-what").textContent = [r.kind, id, r.lead, r.value].filter(Boolean).join(" · ");
  at("why-ways").textContent = found.length > 1 ? `${found.length} chains` : "Chain";
  at("why-up").replaceChildren(...found.map((path) => {
    const list = document.createElement("ol");
    list.append(...path.map(([step, link, why]) => {
      const li = document.createElement("li"), title = all[step].title;
      li.append(name(step, title), title === step ? "" : " " + step);
      if (link) li.append(make("p", (link === "serves" ? "" : link + " ") + (why ?? ""), "why"));
      return li;
    }));
    return list;
  }));
  at("why-more").textContent = more ? "and more chains" : "";
  const list = below[id] ?? [];
  at("why-below").replaceChildren(...(list.length ? list.flatMap((b, n) => n ? [", ", name(b, all[b].title)] : [name(b, all[b].title)]) : ["no record"]));
  if (!at("why").open) at("why").showModal();
  at("why").scrollTop = 0;
}

// The address says what is shown: #record-id, or #_targets?system=… for the filter. No id of a record begins with `_`.
const form = at("filter"), keys = ["system", "lead", "verdict"], rows = [...document.querySelectorAll(".targets tbody tr")];
let under = "";
function address() {
  const [name, query] = location.hash.slice(1).split(/\?(.*)/s);
  try { return [decodeURIComponent(name), query ?? ""]; } catch { return [name, query ?? ""]; }
}
function go(hash) {
  if (hash !== location.hash) history.pushState(null, "", location.href.split("#")[0] + hash);
}
function route(first) {
  const [name, query] = address();
  if (all[name]) return show(name);
  under = location.hash;
  if (at("why").open) at("why").close();
  if (!form) return;
  const wanted = new URLSearchParams(name === "_targets" ? query : "");
  for (const key of keys) {
    form.elements[key].value = wanted.get(key) ?? "";
    // A value that no target has any more shows all.
    if (form.elements[key].selectedIndex < 0) form.elements[key].value = "";
  }
  sift();
  if (query && first) at("_targets").scrollIntoView();
}
function sift() {
  let n = 0;
  // What is asked for is shown.
  if (keys.some((k) => form.elements[k].value)) for (const fold of document.querySelectorAll(".more-targets")) fold.open = true;
  for (const row of rows) { row.hidden = keys.some((k) => form.elements[k].value && row.dataset[k] !== form.elements[k].value); n += !row.hidden; }
  at("shown").textContent = n < rows.length ? n + " shown" : n + (n === 1 ? " target" : " targets");
}
function changed() {
  const wanted = new URLSearchParams(keys.map((k) => [k, form.elements[k].value]).filter(([, value]) => value));
  go(under = String(wanted) ? "#_targets?" + wanted : "#_targets");
  sift();
}
form?.addEventListener("change", changed);
form?.addEventListener("reset", () => setTimeout(changed));
at("why").addEventListener("close", () => { if (!at("why").open && all[address()[0]]) go(under); });
document.addEventListener("click", (e) => { const b = e.target.closest("[data-id]"); if (b && all[b.dataset.id]) { go("#" + b.dataset.id); route(); } });
at("ids").append(...Object.keys(all).sort().map((id) => { const o = make("option", all[id].title); o.value = id; return o; }));
at("ask").addEventListener("submit", (e) => {
  e.preventDefault();
  const id = e.target.elements.id.value.trim();
  at("unknown").textContent = all[id] ? "" : "no record with this id";
  if (all[id]) { go("#" + id); route(); }
});
addEventListener("hashchange", () => route());

// Tables sort by a press on the head of a column; the total stays last.
function order(cell) {
  const text = (cell?.textContent ?? "").trim().replaceAll("−", "-");
  if (text === "" || text === "–" || /^\d{4}-\d\d-\d\d/.test(text)) return text;
  const number = /^[≤≥(+ ]*(?:at (?:most|least) )?(-?\d+(?:\.\d+)?)(?![\w-])/.exec(text.replace(/(\d)\s(?=\d{3})/g, "$1"));
  return number ? parseFloat(number[1]) : text.toLowerCase();
}
function compare(a, b) {
  if (a === "" || b === "") return (a === "") - (b === "");
  if (typeof a !== typeof b) return typeof a === "number" ? -1 : 1;
  return a < b ? -1 : a > b ? 1 : 0;
}
for (const table of document.querySelectorAll("main table")) {
  const body = table.tBodies[0], heads = [...(table.tHead?.rows[0].cells ?? [])];
  if (!body || body.rows.length < 2) continue;
  heads.forEach((head, column) => {
    const button = make("button", "");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    head.dataset.h = button.textContent;
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const own = [...body.rows].filter((row) => !row.classList.contains("total"));
      const by = new Map(own.map((row) => [row, order(row.cells[column])]));
      own.sort((a, b) => {
        const [x, y] = [by.get(a), by.get(b)];
        return x === "" || y === "" || !down ? compare(x, y) : compare(y, x);
      });
      body.append(...own, ...[...body.rows].filter((row) => row.classList.contains("total")));
    });
  });
}
route(true);

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

for (const table of document.querySelectorAll("main table")) {
  if (table.tHead && table.tBodies[0]?.rows.length > 1) sortable(table);
}
route(true);

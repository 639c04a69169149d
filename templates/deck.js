(() => {
  "use strict";
  const root = document.documentElement;
  const slides = [...document.querySelectorAll(".slide")];
  if (!slides.length) return;
  const links = [...document.querySelectorAll("#_strip a")];
  const by = (id) => document.getElementById(id);
  const total = Number(document.body.dataset.seconds);
  const isSpeaker = location.hash.startsWith("#speaker:");
  let at = 0, other = null, begun = 0, spent = 0, resting = 0;

  root.classList.add("talk");
  by("_controls").hidden = false;
  if (isSpeaker) { root.classList.add("speaker"); other = window.opener; by("_window").hidden = true; by("_show-notes").hidden = true; }

  const name = (hash) => { try { return decodeURIComponent(hash.replace(/^#(speaker:)?/, "")); } catch { return ""; } };
  const place = (id) => slides.findIndex((slide) => slide.id === id);
  const share = () => { if (other && !other.closed) other.postMessage({ tierod: at, spent: elapsed(), runs: begun > 0 }, "*"); };

  function show(to, quiet) {
    at = Math.max(0, Math.min(slides.length - 1, to));
    slides.forEach((slide, n) => slide.classList.toggle("on", n === at));
    links.forEach((link, n) => n === at ? link.setAttribute("aria-current", "true") : link.removeAttribute("aria-current"));
    by("_back").disabled = at === 0;
    by("_next").disabled = at === slides.length - 1;
    by("_said").textContent = `Slide ${at + 1} of ${slides.length}`;
    const hash = `#${isSpeaker ? "speaker:" : ""}${slides[at].id}`;
    if (location.hash !== hash) history.replaceState(null, "", hash);
    slides[at].querySelector(".sheet").scrollTop = 0;
    slides[at].focus({ preventScroll: true });
    if (!quiet) share();
    tick();
  }
  function go(to) {
    if (to > at && at === 0 && !begun && !spent) start();
    if (to !== at) show(to);
  }

  const elapsed = () => spent + (begun ? (performance.now() - begun) / 1000 : 0);
  function start() { begun = performance.now(); }
  function stop() { spent = elapsed(); begun = 0; }
  const text = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
  function tick() {
    const now = elapsed();
    by("_time").textContent = `${text(now)} / ${text(total)}`;
    const late = now - Number(slides[at].dataset.end), early = Number(slides[at].dataset.start) - now;
    const runs = begun || spent;
    by("_pace").textContent = !runs ? "" : late >= 10 ? `late by ${text(late)}` : early >= 10 ? `early by ${text(early)}` : "on time";
    const mark = by("_now");
    mark.hidden = !runs;
    if (!runs) return;
    const n = slides.findIndex((slide) => now < Number(slide.dataset.end));
    const link = links[n < 0 ? links.length - 1 : n], slide = slides[n < 0 ? slides.length - 1 : n];
    const from = Number(slide.dataset.start), length = Math.max(1, Number(slide.dataset.end) - from);
    mark.style.left = `${link.offsetLeft + link.offsetWidth * Math.min(1, Math.max(0, (now - from) / length))}px`;
    mark.style.top = `${link.offsetTop}px`;
    mark.style.height = `${link.offsetHeight}px`;
  }
  setInterval(() => { if (begun) tick(); }, 500);

  function notes() {
    const on = root.classList.toggle("with-notes");
    by("_show-notes").setAttribute("aria-pressed", String(on));
  }
  function clock() { if (begun) stop(); else start(); tick(); share(); }
  function second() {
    if (isSpeaker) return;
    other = window.open(`${location.href.split("#")[0]}#speaker:${slides[at].id}`, "speaker", "width=900,height=700");
  }

  addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const onControl = event.target.closest && event.target.closest("a, button");
    if (onControl && (event.key === " " || event.key === "Enter")) return;
    const reading = event.target.closest && event.target.closest(".notes");
    if (reading && ["ArrowUp", "ArrowDown"].includes(event.key)) return;
    const acts = {
      ArrowRight: () => go(at + 1), ArrowDown: () => go(at + 1), PageDown: () => go(at + 1), Enter: () => go(at + 1),
      ArrowLeft: () => go(at - 1), ArrowUp: () => go(at - 1), PageUp: () => go(at - 1), Backspace: () => go(at - 1),
      " ": () => go(at + (event.shiftKey ? -1 : 1)), Home: () => go(0), End: () => go(slides.length - 1),
      n: notes, N: notes, c: clock, C: clock, w: second, W: second,
    };
    const act = acts[event.key];
    if (act) { event.preventDefault(); act(); }
  });
  by("_back").addEventListener("click", () => go(at - 1));
  by("_next").addEventListener("click", () => go(at + 1));
  by("_show-notes").addEventListener("click", notes);
  by("_clock").addEventListener("click", clock);
  by("_window").addEventListener("click", second);
  links.forEach((link, n) => link.addEventListener("click", (event) => { event.preventDefault(); go(n); }));

  let finger = null;
  const main = document.querySelector("main");
  main.addEventListener("touchstart", (event) => {
    finger = event.touches.length === 1 ? { x: event.touches[0].clientX, y: event.touches[0].clientY } : null;
  }, { passive: true });
  main.addEventListener("touchend", (event) => {
    if (!finger) return;
    const dx = event.changedTouches[0].clientX - finger.x, dy = event.changedTouches[0].clientY - finger.y;
    finger = null;
    if (Math.abs(dx) > 45 && Math.abs(dx) > 2 * Math.abs(dy)) go(at + (dx < 0 ? 1 : -1));
  }, { passive: true });

  addEventListener("hashchange", () => { const n = place(name(location.hash)); if (n >= 0 && n !== at) show(n); });
  // Only the window that this one has opened, or was opened by, is listened to.
  addEventListener("message", (event) => {
    if (event.source !== other || !event.data || !Number.isInteger(event.data.tierod)) return;
    spent = Number(event.data.spent) || 0;
    begun = event.data.runs ? performance.now() : 0;
    show(event.data.tierod, true);
  });
  addEventListener("resize", tick);

  // The controls are out of the way while they are not used.
  const wake = () => { root.classList.remove("idle"); clearTimeout(resting); resting = setTimeout(() => { if (!isSpeaker && !root.classList.contains("with-notes") && !by("_controls").contains(document.activeElement)) root.classList.add("idle"); }, 4000); };
  ["mousemove", "touchstart", "focusin"].forEach((kind) => addEventListener(kind, wake, { passive: true }));
  wake();
  show(Math.max(0, place(name(location.hash))), true);
})();

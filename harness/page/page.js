// The page at the bench: shows what the server sends, and sends what the person does. It
// decides nothing, keeps nothing and loads nothing from elsewhere.
"use strict";
(() => {
  const root = document.documentElement;
  const kept = (name) => { try { return localStorage.getItem(name); } catch { return null; } };
  const keep = (name, value) => { try { localStorage.setItem(name, value); } catch { /* private */ } };
  if (kept("theme")) root.dataset.theme = kept("theme");

  // This page's own name, which only it and the server know.
  const seat = (() => {
    const made = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
    try {
      const known = sessionStorage.getItem("seat");
      if (known) return known;
      const seat = made();
      sessionStorage.setItem("seat", seat);
      return seat;
    } catch { return made(); }
  })();

  let state = { phase: "" }, me = "", ahead = 0, sound = kept("sound") === "on", readings = [], audio = null;
  const byId = (id) => document.getElementById(id);
  const running = () => state.phase === "running" || state.phase === "stopping";
  const say = (words) => { const place = byId("message"); if (place) place.textContent = words; };

  // What a form or button asks for.
  async function send(address, fields) {
    say("");
    fields.set("seat", seat);
    try {
      const answer = await fetch(address, { method: "POST", body: fields });
      if (!answer.ok && answer.status !== 422) say((await answer.text()).trim() || "this was not done");
      return answer.ok;
    } catch { say("the server cannot be reached"); return false; }
  }
  const stop = () => { if (running()) send("/stop", new URLSearchParams()); };

  function focus(place) {
    const wanted = (place || document).querySelector("[data-focus]");
    if (wanted && !document.body.classList.contains("watches")) wanted.focus({ preventScroll: true });
  }

  // ---- what the server sends ----
  function put({ id, html }) {
    const place = byId(id);
    if (!place) return;
    const field = id === "desk" ? place.querySelector("#serial") : null;
    const typed = field ? field.value : "";
    const held = id === "desk" && (place.contains(document.activeElement) || document.activeElement === document.body);
    place.innerHTML = html;
    if (id === "desk") {
      // What a scanner has typed meanwhile is not lost, least of all its first letter.
      const next = place.querySelector("#serial");
      if (next && typed) next.value = typed;
      if (held) focus(place);
    }
    cells(place);
    clocks();
  }
  // In a narrow box a row is a card, and each cell says what it is.
  function cells(place) {
    for (const table of place.matches("tbody") ? [place.closest("table")] : place.querySelectorAll("table")) {
      const titles = Array.from(table.querySelectorAll("thead th"), (title) => title.textContent);
      for (const cell of table.querySelectorAll("tbody td:not([data-t])")) cell.dataset.t = titles[cell.cellIndex] || "";
    }
  }
  function add({ id, html }) {
    const place = byId(id);
    if (!place) return;
    const box = place.closest(".scroll");
    const atEnd = box && box.scrollTop + box.clientHeight >= box.scrollHeight - 40;
    place.insertAdjacentHTML("beforeend", html);
    cells(place);
    if (atEnd) box.scrollTop = box.scrollHeight;
  }
  function stands(next) {
    const before = state;
    state = next;
    const button = byId("stop");
    if (button) button.disabled = !running();
    const chip = byId("chip");
    if (chip) {
      const words = { closed: "no bench is open", opening: "opening the bench", ready: "ready", refused: "waits for you", confirming: "waits for you", running: (state.serial || "") + " runs", stopping: "stopping" };
      const text = state.question ? "waits for you" : words[state.phase] || "";
      if (chip.textContent !== text) chip.textContent = text;
    }
    const closed = state.phase === "closed";
    if (byId("choosing")) byId("choosing").hidden = !closed && state.phase !== "opening";
    if (byId("closing")) byId("closing").hidden = closed || state.phase === "opening" || running();
    const at = document.activeElement;
    if (state.phase !== before.phase && (!at || at === document.body || at.closest("[hidden]"))) focus();
    if (state.run !== before.run) { readings = []; trace(); }
    if (state.question && state.question !== before.question) tone([660, 660]);
  }
  function operator({ seat: name }) {
    const other = Boolean(name) && name !== me;
    document.body.classList.toggle("watches", other);
    const banner = byId("watching");
    if (banner) banner.hidden = !other;
    for (const part of document.querySelectorAll("#desk, #choosing, #closing")) part.inert = other;
    if (!other) focus();
  }
  function listen() {
    const source = new EventSource("/events?seat=" + seat);
    const on = (name, take) => source.addEventListener(name, (event) => take(JSON.parse(event.data)));
    on("you", ({ now, seat: name }) => { ahead = now - Date.now(); me = name; byId("lost").hidden = true; });
    on("beat", ({ now }) => { ahead = now - Date.now(); });
    on("operator", operator);
    on("put", put);
    on("add", add);
    on("state", stands);
    on("meter", (reading) => { readings.push(reading); if (readings.length > 8192) readings.splice(0, 2048); meter(reading); soon(); });
    on("meters", (all) => { readings = all; all.slice(-6).forEach(meter); soon(); });
    on("verdict", ({ verdict }) => tone(verdict === "PASS" ? [660, 880] : verdict === "FAIL" ? [220, 165, 220, 165] : [440, 440, 440]));
    on("end", () => { byId("lost").hidden = false; });
    source.onerror = () => { byId("lost").hidden = false; };
  }
  // The other views ask now and then.
  async function look() {
    try {
      const answer = await fetch("/state");
      if (answer.ok) stands(await answer.json());
      byId("lost").hidden = answer.ok;
    } catch { byId("lost").hidden = false; }
    setTimeout(look, running() ? 1000 : 3000);
  }

  // ---- clocks ----
  function clocks() {
    const now = Date.now() + ahead;
    for (const clock of document.querySelectorAll(".clock")) {
      const since = Number(clock.dataset.since), until = Number(clock.dataset.until);
      const left = until ? until - now : now - since;
      const text = !since && !until ? "\u2013" : until && left < 0 ? "over" : span(Math.max(0, left) / 1000);
      if (clock.textContent !== text) clock.textContent = text;
    }
  }
  const two = (n) => String(Math.floor(n)).padStart(2, "0");
  const span = (s) => s < 60 ? Math.floor(s) + " s" : s < 3600 ? Math.floor(s / 60) + ":" + two(s % 60) : Math.floor(s / 3600) + ":" + two((s / 60) % 60) + ":" + two(s % 60);

  // ---- the trace of the meters ----
  function meter({ m, y }) {
    const place = byId("meter-" + m);
    if (place) place.textContent = (Math.abs(y) < 9.9995 ? y.toFixed(3) : y.toFixed(2)) + (m === "v" ? " V" : " A");
  }
  let drawing = false;
  function soon() { if (!drawing) { drawing = true; requestAnimationFrame(() => { drawing = false; trace(); }); } }
  function trace() {
    const canvas = byId("trace");
    if (!canvas) return;
    const wide = canvas.clientWidth, high = canvas.clientHeight, ratio = devicePixelRatio || 1;
    if (canvas.width !== Math.round(wide * ratio)) canvas.width = Math.round(wide * ratio);
    if (canvas.height !== Math.round(high * ratio)) canvas.height = Math.round(high * ratio);
    const pen = canvas.getContext("2d"), style = getComputedStyle(root);
    const ink = (name) => style.getPropertyValue(name).trim();
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, wide, high);
    pen.font = "12px system-ui, sans-serif";
    const left = 44, right = wide - 44, top = 10, bottom = high - 20;
    const end = readings.length ? Math.max(1, readings[readings.length - 1].t) : 60;
    const most = (wanted, least) => readings.reduce((most, r) => (wanted.includes(r.m) ? Math.max(most, r.y) : most), least) * 1.1;
    const volts = most("v", 1), amperes = most("al", 0.5);
    pen.strokeStyle = ink("--line"); pen.fillStyle = ink("--quiet"); pen.lineWidth = 1;
    for (let i = 0; i <= 3; i++) {
      const y = bottom - (bottom - top) * i / 3;
      pen.beginPath(); pen.moveTo(left, y); pen.lineTo(right, y); pen.stroke();
      pen.textAlign = "right"; pen.fillText((volts * i / 3).toFixed(1) + " V", left - 4, y + 4);
      pen.textAlign = "left"; pen.fillText((amperes * i / 3).toFixed(1) + " A", right + 4, y + 4);
    }
    pen.textAlign = "right"; pen.fillText(span(end), right, high - 4);
    pen.textAlign = "left"; pen.fillText("0 s", left, high - 4);
    for (const [m, name, full, dash] of [["v", "--s0", volts, []], ["a", "--s1", amperes, [6, 3]], ["l", "--s2", amperes, [2, 3]]]) {
      pen.strokeStyle = ink(name); pen.lineWidth = 2; pen.setLineDash(dash); pen.beginPath();
      let first = true;
      for (const r of readings) {
        if (r.m !== m) continue;
        const x = left + (right - left) * Math.max(0, r.t) / end, y = bottom - (bottom - top) * Math.max(0, r.y) / full;
        if (first) pen.moveTo(x, y); else pen.lineTo(x, y);
        first = false;
      }
      pen.stroke();
    }
    pen.setLineDash([]);
  }

  // ---- sound ----
  function tone(notes) {
    if (!sound) return;
    try {
      audio = audio || new AudioContext();
      notes.forEach((pitch, index) => {
        const at = audio.currentTime + index * 0.22, voice = audio.createOscillator(), loud = audio.createGain();
        voice.frequency.value = pitch; loud.gain.setValueAtTime(0.25, at); loud.gain.exponentialRampToValueAtTime(0.001, at + 0.2);
        voice.connect(loud).connect(audio.destination); voice.start(at); voice.stop(at + 0.21);
      });
    } catch { /* no sound here */ }
  }

  // ---- captures to look into ----
  function zoomable(box) {
    const picture = box.querySelector(".zoom-picture"), choice = box.querySelector("select");
    let from = null, to = null, whole = null, held = null;
    async function show() {
      const part = from === null ? "" : "?from=" + from + "&to=" + to;
      try {
        const answer = await fetch(box.dataset.captures + "/" + choice.value + part);
        if (!answer.ok) { picture.textContent = "this capture cannot be shown"; return; }
        picture.innerHTML = await answer.text();
        const plot = picture.querySelector("svg");
        from = Number(plot.dataset.from); to = Number(plot.dataset.to);
        if (part === "") whole = [from, to];
      } catch { picture.textContent = "the server cannot be reached"; }
    }
    function move(how) {
      if (from === null) return;
      const wide = to - from, middle = (from + to) / 2;
      if (how === "in") { from = middle - wide / 4; to = middle + wide / 4; }
      else if (how === "out") { from = middle - wide; to = middle + wide; }
      else if (how === "left") { from -= wide / 4; to -= wide / 4; }
      else if (how === "right") { from += wide / 4; to += wide / 4; }
      if (how === "whole" || (whole && to - from >= whole[1] - whole[0])) from = to = null;
      show();
    }
    const time = (event) => {
      const plot = picture.querySelector("svg"), frame = plot.getBoundingClientRect();
      const left = Number(plot.dataset.left), right = Number(plot.dataset.right);
      const share = ((event.clientX - frame.left) / frame.width - left) / (right - left);
      return from + Math.min(1, Math.max(0, share)) * (to - from);
    };
    box.addEventListener("click", (event) => { const button = event.target.closest("[data-zoom]"); if (button) move(button.dataset.zoom); });
    choice.addEventListener("change", () => { from = to = null; show(); });
    picture.addEventListener("pointerdown", (event) => { if (from !== null && event.button === 0) held = time(event); });
    picture.addEventListener("pointerup", (event) => {
      if (held === null) return;
      const [a, b] = [held, time(event)].sort((x, y) => x - y);
      held = null;
      if (b - a > (to - from) / 100) { from = a; to = b; show(); }
    });
    picture.addEventListener("dblclick", () => move("whole"));
    picture.addEventListener("keydown", (event) => {
      const how = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", "0": "whole" }[event.key];
      if (how && !event.ctrlKey && !event.metaKey) { event.preventDefault(); move(how); }
    });
    // A long record draws what is looked at.
    new IntersectionObserver((seen, observer) => { if (seen.some((one) => one.isIntersecting)) { observer.disconnect(); show(); } }, { rootMargin: "200px" }).observe(picture);
  }

  // ---- the text of a plan ----
  function editor(form) {
    const text = form.querySelector("textarea"), numbers = form.querySelector(".numbers"), said = byId("plan-said");
    let saved = text.value, due = 0;
    function count() {
      const faulty = new Set(Array.from(document.querySelectorAll("#checked [data-line]"), (b) => Number(b.dataset.line)));
      const lines = text.value.split("\n").length;
      numbers.textContent = "";
      for (let line = 1; line <= lines; line++) {
        const bad = faulty.has(line), mark = document.createElement(bad ? "b" : "span");
        mark.textContent = (bad ? "\u25B8" : "") + line + "\n";
        numbers.append(mark);
      }
      numbers.scrollTop = text.scrollTop;
    }
    const fields = () => new URLSearchParams(new FormData(form));
    async function check() {
      try {
        const answer = await fetch("/plan/check", { method: "POST", body: fields() });
        if (answer.ok) { byId("checked").innerHTML = await answer.text(); cells(byId("checked")); count(); }
      } catch { said.textContent = "the server cannot be reached"; }
    }
    async function save() {
      said.textContent = "saving";
      const sent = text.value;
      try {
        const answer = await fetch("/plan/save", { method: "POST", body: fields() });
        const words = (await answer.text()).trim();
        if (answer.ok) { form.elements.was.value = words; saved = sent; said.textContent = "saved"; check(); }
        else said.textContent = answer.status === 409 ? words : "nothing was saved";
      } catch { said.textContent = "the server cannot be reached: nothing was saved"; }
    }
    text.addEventListener("input", () => { said.textContent = text.value === saved ? "" : "not saved yet"; count(); clearTimeout(due); due = setTimeout(check, 600); });
    text.addEventListener("scroll", () => { numbers.scrollTop = text.scrollTop; });
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("click", (event) => { const how = event.target.dataset.plan; if (how === "check") check(); if (how === "save") save(); });
    text.addEventListener("keydown", (event) => { if ((event.ctrlKey || event.metaKey) && event.key === "s") { event.preventDefault(); save(); } });
    document.addEventListener("click", (event) => {
      const line = Number(event.target.dataset && event.target.dataset.line);
      if (!line) return;
      const before = text.value.split("\n").slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
      const end = text.value.indexOf("\n", before);
      text.focus(); text.setSelectionRange(before, end < 0 ? text.value.length : end);
      text.scrollTop = text.scrollHeight / text.value.split("\n").length * Math.max(0, line - 6);
    });
    addEventListener("beforeunload", (event) => { if (text.value !== saved) event.preventDefault(); });
    count();
  }

  // ---- the person ----
  addEventListener("DOMContentLoaded", () => {
    document.addEventListener("submit", (event) => {
      const form = event.target;
      if (!form.dataset.send) return;
      event.preventDefault();
      const fields = new URLSearchParams(new FormData(form, event.submitter));
      const field = form.querySelector("#serial");
      if (field) { if (field.value.trim() === "") return; field.value = ""; }
      send(form.dataset.send, fields);
    });
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-post]");
      if (!button) return;
      const fields = new URLSearchParams();
      if (button.dataset.nonce) fields.set("nonce", button.dataset.nonce);
      button.disabled = true;
      send(button.dataset.post, fields).then(() => { button.disabled = false; });
    });
    byId("stop").addEventListener("click", stop);
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" || event.key === document.body.dataset.stopKey) {
        if (running()) { event.preventDefault(); stop(); }
        return;
      }
      // A scanner types wherever the page is: its digits go where they belong.
      const serial = byId("serial"), at = document.activeElement;
      const elsewhere = !at || !at.matches("input, select, textarea, .zoom-picture");
      if (serial && elsewhere && event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.metaKey && !event.altKey) serial.focus();
    });
    byId("theme").addEventListener("click", () => {
      const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
      root.dataset.theme = dark ? "light" : "dark";
      keep("theme", root.dataset.theme);
      trace();
    });
    const button = byId("sound"), shown = () => button.setAttribute("aria-pressed", String(sound));
    button.addEventListener("click", () => { sound = !sound; keep("sound", sound ? "on" : "off"); shown(); tone([660]); });
    shown();
    cells(document.body);
    document.querySelectorAll(".zoom").forEach(zoomable);
    if (byId("plan-form")) editor(byId("plan-form"));
    setInterval(clocks, 250);
    addEventListener("resize", soon);
    trace();
    if (document.body.dataset.view === "run") { listen(); focus(); } else { look(); focus(); }
  });
})();

// The tap counter. The page works without it, one key a time; with it taps are instant, heard, and safe when the
// connection is lost: the tally stands on this device until the casebook has answered.
(() => {
  const form = document.getElementById("counter");
  if (!form || form.hasAttribute("data-closed")) return;
  const SHOWN = 20, LONGEST = 400;
  const NOTES = [440, 660, 330, 880, 550, 990, 262, 1320];
  const store = form.dataset.store, inCase = "case" in form.dataset, standard = Number(form.dataset.standard);
  const keys = [...form.querySelectorAll(".key")];
  const kinds = keys.map(one => one.value);
  const said = document.getElementById("said"), saved = document.getElementById("saved");
  const undo = document.querySelector("#undo-tap .undo"), undoForm = document.getElementById("undo-tap");
  const input = name => form.elements.namedItem(name);

  const read = (key, otherwise) => {
    try { return JSON.parse(localStorage.getItem(key)) ?? otherwise; } catch { return otherwise; }
  };
  const write = (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* memory only */ } };

  // --- the tally: fields that were there, and every press since -------------------------------------------------------
  const page = JSON.parse(input("counts").value);
  const fieldsOf = tally => Math.max(0, ...Object.values(tally).map(one => one.length));
  const fresh = () => ({ base: page, presses: [], version: input("seen").value, slide: input("slide").value, waiting: false });
  let state = fresh();
  const kept = read(store, null);
  if (kept && (kept.waiting || !inCase || kept.version === state.version)) state = kept;
  for (const id of kinds) state.base[id] ??= new Array(fieldsOf(state.base)).fill(0);  // a kind added on this page
  for (const id of Object.keys(state.base)) if (!kinds.includes(id)) delete state.base[id];

  // Every field with what was seen in it; the last one is under the lens.
  const all = () => {
    const closed = Array.from({ length: fieldsOf(state.base) }, (_, n) =>
      Object.fromEntries(kinds.map(id => [id, state.base[id][n] ?? 0])));
    let now = {};
    if (state.open && closed.length) now = closed.pop();
    for (const press of state.presses) {
      if (press === ">") { closed.push(now); now = {}; }
      else if (press === "x") now = {};
      else now[press] = (now[press] ?? 0) + 1;
    }
    return { closed, now };
  };
  const tally = () => {
    const { closed, now } = all();
    const looked = Object.keys(now).length ? [...closed, now] : closed;
    return Object.fromEntries(kinds.map(id => [id, looked.map(one => one[id] ?? 0)]));
  };
  // A long session folds its oldest presses into the base, so that every tap stays as quick as the first.
  const fold = () => {
    if (state.presses.length < LONGEST) return;
    const rest = state.presses.slice(-LONGEST / 2);
    state.presses = state.presses.slice(0, -LONGEST / 2);
    const { now } = all();
    state.base = tally();
    state.open = Object.keys(now).length > 0;
    state.presses = rest;
  };

  // --- drawing --------------------------------------------------------------------------------------------------------
  const show = () => {
    const { closed, now } = all(), counted = tally(), fields = fieldsOf(counted);
    keys.forEach(key => { key.querySelector(".count").textContent = counted[key.value].reduce((a, b) => a + b, 0); });
    document.getElementById("field-number").textContent = closed.length + 1;
    const first = Math.floor(closed.length / SHOWN) * SHOWN;
    document.getElementById("field-goal").textContent = Math.max(standard, closed.length + 1);
    const row = document.getElementById("fields");
    [...row.children].forEach((svg, n) => {
      const place = first + n, here = place === closed.length, one = here ? now : closed[place];
      const seen = one ? keys.filter(key => one[key.value]) : [];
      const many = seen.some(key => one[key.value] >= Number(key.dataset.many));
      const glyph = seen.length ? (many ? "many" : "few") : one && !here ? "clear" : "none";
      svg.setAttribute("class", `field ${glyph !== "none" ? "on" : ""} ${here ? "now" : ""} ${!here && !one && place >= standard ? "spare" : ""}`);
      svg.querySelector("use").setAttribute("href", `#f-${glyph}`);
    });
    const empty = closed.filter(one => !kinds.some(id => one[id])).length;
    row.setAttribute("aria-label", `${fields} looked at, ${empty} of them empty; field ${closed.length + 1} is under the lens`);
    input("counts").value = JSON.stringify(counted);
    input("field").value = Object.keys(now).length ? fields - 1 : fields;
    undo.disabled = state.presses.length === 0 && !undoForm.dataset.before;
  };
  if (!undo.disabled && inCase) undoForm.dataset.before = "1";  // acts before this page can be taken back as elsewhere

  const figures = told => {
    keys.forEach(key => {
      const one = told.kinds?.[key.value];
      if (one) key.querySelector("small").textContent = one.density;
    });
    const lines = [told.verdict || "Nothing is counted yet.", ...told.enough].map((text, n) => {
      const p = document.createElement("p"), inside = n ? p : document.createElement("b");
      inside.textContent = text;
      if (!n) p.append(inside);
      return p;
    });
    document.getElementById("enough").replaceChildren(...lines);
  };

  const tell = (words, icon, late) => {
    saved.classList.toggle("tag--late", late);
    saved.classList.toggle("tag--works", !late);
    saved.querySelector("use").setAttribute("href", `#i-${icon}`);
    saved.querySelector("span").textContent = words;
  };
  const tellSaved = () => {
    if (!inCase) tell(state.unreached ? "Kept here; figures wait for the connection" : "Kept on this device only", "kept", Boolean(state.unreached));
    else if (state.waiting) tell(state.unreached ? "Not saved yet, kept on this device" : "Saving", "kept", Boolean(state.unreached));
    else tell("Saved after every tap", "saved", false);
  };

  // --- sending the whole tally: the last one says it all, so a lost one costs nothing -----------------------------------
  const newId = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = bytes[6] & 15 | 64;
    bytes[8] = bytes[8] & 63 | 128;
    const hex = [...bytes].map(one => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };
  let sending = false, again = false, later = null, asking = false;
  const send = async () => {
    if (asking) return;
    if (sending) { again = true; return; }
    const counted = tally();
    if (inCase && !state.slide && !fieldsOf(counted)) { state.waiting = false; keep(); tellSaved(); return; }
    if (inCase && !fieldsOf(counted)) {
      said.textContent = "A slide keeps at least one field; delete it at its examination.";
      return;
    }
    sending = true;
    state.id ??= newId();
    const body = new URLSearchParams({ counts: JSON.stringify(counted), slide: state.slide, seen: state.version,
      objective: input("objective").value, examination: input("examination").value });
    if (!state.slide) body.set("id", state.id);
    try {
      const answer = await fetch(form.action, {
        method: "POST", body, signal: AbortSignal.timeout?.(20000),
        headers: { "X-CSRFToken": input("csrfmiddlewaretoken").value, "X-Wetmount": "pieces" },
      });
      if (answer.status === 409 && answer.headers.get("content-type")?.includes("json")) ask(await answer.json());
      else if (!answer.ok) {
        state.unreached = true;
        const why = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main p:not([role])");
        said.textContent = why?.textContent.trim() || "The casebook did not take this; reload the page.";
      } else arrived(await answer.json(), counted);
    } catch {
      state.unreached = true;
      document.dispatchEvent(new CustomEvent("wetmount:lost"));
    }
    sending = false;
    keep();
    tellSaved();
    if (again) { again = false; send(); }
  };
  const arrived = (told, counted) => {
    state.unreached = false;
    if (told.slide) {
      const first = !state.slide;
      state.slide = String(told.slide);
      state.version = String(told.version);
      input("slide").value = state.slide;
      input("seen").value = state.version;
      if (first) moveTo(told);
    }
    state.waiting = JSON.stringify(counted) !== JSON.stringify(tally());
    figures(told);
  };
  // The new slide has an address of its own now; what this device keeps of it goes along.
  let storeNow = store;
  const moveTo = told => {
    try { localStorage.removeItem(store); } catch { /* memory only */ }
    storeNow = `wetmount.count.slide.${told.slide}`;
    history.replaceState(null, "", `${told.page}?${new URLSearchParams(kinds.map(id => ["kind", id]))}`);
    undoForm.elements.namedItem("back").value = location.pathname + location.search;
  };
  const keep = () => write(storeNow, state);
  const queue = () => {
    state.waiting = true;
    keep();
    show();
    tellSaved();
    clearTimeout(later);
    later = setTimeout(() => send().then(keep), 350);
  };

  const clash = document.getElementById("clash");
  let theirs = null;
  const ask = told => {
    asking = true;
    theirs = told;
    const sum = one => Object.values(one).flat().reduce((a, b) => a + b, 0);
    clash.querySelector("p").textContent = `${told.who || "Another device"} counted on this slide meanwhile: ${sum(told.clash)} in ${fieldsOf(told.clash)} fields there, ${sum(tally())} in ${fieldsOf(tally())} here.`;
    clash.hidden = false;
    clash.scrollIntoView({ block: "center" });
  };
  clash.addEventListener("click", event => {
    const choice = event.target.closest("[data-keep]")?.dataset.keep;
    if (!choice) return;
    asking = false;
    clash.hidden = true;
    state.version = String(theirs.version);
    if (choice === "mine") { queue(); return; }
    Object.assign(state, { base: theirs.clash, presses: [], open: false, waiting: false });
    keep();
    location.reload();
  });

  // --- presses --------------------------------------------------------------------------------------------------------
  const press = what => {
    wake();
    sound(what);
    state.presses.push(what);
    fold();
    queue();
    const place = all().closed.length + 1, key = keys.find(one => one.value === what);
    const b = document.createElement("b");
    b.textContent = key ? `${key.dataset.name}: one more, ` : what === ">" ? "Next field. " : "That field is left out. ";
    said.replaceChildren(b, key ? `${key.querySelector(".count").textContent} in all. Field ${place}` : `Field ${place} is under the lens`);
  };
  const takeBack = () => {
    const last = state.presses.pop(), key = keys.find(one => one.value === last);
    queue();
    said.textContent = `Taken back: ${key ? `one of ${key.dataset.name.toLowerCase()}` : last === ">" ? "next field" : "field left out"}.`;
    sound("undo");
  };
  const meaning = button => ({ next: ">", skip: "x" })[button.value] ?? button.value;
  form.addEventListener("submit", event => {
    event.preventDefault();
    if (event.submitter) press(meaning(event.submitter));
  });
  form.addEventListener("click", event => { if (event.detail) event.target.closest("button")?.blur(); });
  undoForm.addEventListener("submit", event => {
    if (!state.presses.length) { try { localStorage.removeItem(storeNow); } catch { /* memory only */ } return; }
    event.preventDefault();
    event.stopImmediatePropagation();
    takeBack();
  }, true);

  // --- keys, which anyone may choose ------------------------------------------------------------------------------------
  const KEYS = "wetmount.count.keys";
  let chosen = { ...Object.fromEntries(kinds.map((_, n) => [n, String(n + 1)])), next: " ", skip: "x", undo: "z", ...read(KEYS, {}) };
  const word = key => ({ " ": "space", ArrowRight: "→", ArrowLeft: "←" })[key] ?? (key.length === 1 ? key.toUpperCase() : key);
  const slots = () => [...kinds.map((id, n) => [String(n), keys[n].dataset.name]), ["next", "Next field"], ["skip", "Cannot read this field"], ["undo", "Undo"]];
  let learning = null;
  const list = document.getElementById("key-list"), reassign = document.getElementById("reassign");
  const showKeys = () => {
    keys.forEach((key, n) => { key.querySelector("kbd").textContent = word(chosen[n]); });
    document.getElementById("next-key").textContent = word(chosen.next);
    list.replaceChildren(...slots().map(([slot, name]) => {
      const li = document.createElement("li"), button = document.createElement("button"), span = document.createElement("span");
      button.type = "button";
      button.className = "btn";
      button.textContent = learning === slot ? "press it" : word(chosen[slot]);
      button.setAttribute("aria-label", `${name}: ${button.textContent}. Choose another key`);
      button.addEventListener("click", () => { learning = learning === slot ? null : slot; showKeys(); });
      span.textContent = name;
      li.append(button, span);
      return li;
    }));
  };
  reassign.hidden = false;
  reassign.addEventListener("click", () => { list.hidden = !list.hidden; learning = null; showKeys(); });

  const typing = target => target.closest?.("input:not([type=radio]):not([type=checkbox]), textarea, select, [contenteditable]");
  const slotOf = key => slots().map(([slot]) => slot).find(slot => chosen[slot].toLowerCase() === key.toLowerCase());
  addEventListener("keydown", event => {
    if (event.ctrlKey || event.metaKey || event.altKey || ["Tab", "Shift", "Escape"].includes(event.key)) return;
    if (learning !== null) {
      event.preventDefault();
      event.stopImmediatePropagation();
      const before = slotOf(event.key);
      if (before !== undefined) chosen[before] = chosen[learning];  // two never share a key
      chosen[learning] = event.key;
      write(KEYS, chosen);
      learning = null;
      showKeys();
      return;
    }
    if (typing(event.target)) return;
    const onControl = event.target.closest?.("button, a, summary, input");
    if (onControl && [" ", "Enter"].includes(event.key)) return;  // the control that has the focus goes first
    const slot = slotOf(event.key);
    if (slot === undefined) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (event.repeat) return;
    if (slot === "next") press(">");
    else if (slot === "skip") press("x");
    else if (slot === "undo") { if (state.presses.length) takeBack(); }
    else press(kinds[Number(slot)]);
  }, true);

  // --- sound: one note a kind, made here; no file, no secure context ----------------------------------------------------
  const MUTED = "wetmount.count.muted";
  const switchOf = document.getElementById("sound");
  const Audio = window.AudioContext ?? window.webkitAudioContext;
  let muted = read(MUTED, false), audio = null;
  const showSound = () => {
    switchOf.setAttribute("aria-pressed", String(!muted));
    switchOf.textContent = muted ? "Sound off" : "Sound on";
  };
  if (Audio) switchOf.hidden = false;
  switchOf.addEventListener("click", () => { muted = !muted; write(MUTED, muted); showSound(); });
  const note = (pitch, shape, at, long) => {
    const voice = audio.createOscillator(), loud = audio.createGain();
    voice.type = shape;
    voice.frequency.value = pitch;
    loud.gain.setValueAtTime(shape === "square" ? 0.06 : 0.18, at);
    loud.gain.exponentialRampToValueAtTime(0.001, at + long);
    voice.connect(loud).connect(audio.destination);
    voice.start(at);
    voice.stop(at + long);
  };
  const sound = what => {
    if (muted || !Audio) return;
    try {
      audio ??= new Audio();
      if (audio.state === "suspended") audio.resume();
      const at = audio.currentTime, n = kinds.indexOf(what);
      if (n >= 0) note(NOTES[n % NOTES.length], n % 2 ? "triangle" : "sine", at, 0.12);
      else if (what === ">") { note(523, "sine", at, 0.1); note(784, "sine", at + 0.1, 0.16); }
      else note(196, "square", at, 0.14);
    } catch { /* no loudspeaker */ }
  };

  // --- the screen stays awake where the browser can -----------------------------------------------------------------------
  let lock = null, refused = false;
  const wake = async () => {
    if (lock || refused || document.visibilityState !== "visible") return;
    if (!navigator.wakeLock) {
      refused = true;
      document.getElementById("awake").append(" This browser cannot keep the screen awake here: lengthen the time until it goes dark in the device's settings.");
      return;
    }
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => { lock = null; });
    } catch { refused = true; }
  };
  document.addEventListener("visibilitychange", () => { if (state.presses.length) wake(); });

  document.addEventListener("wetmount:back", () => { if (state.waiting || state.unreached) send().then(keep); });
  setInterval(() => { if (state.unreached && !asking) send().then(keep); }, 5000);

  showKeys();
  showSound();
  show();
  tellSaved();
  if (state.waiting || fieldsOf(tally()) !== fieldsOf(page) || state.presses.length) send().then(keep);
})();

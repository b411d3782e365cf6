// The pages on which a case is entered. A key shows at once what it set; the server's answer replaces the row in place.
(() => {
  const page = document.getElementById("entry");
  const kept = globalThis.wetmountKept;
  if (!page || !kept) return;
  const mine = entry => entry.case === page.dataset.case;
  const $ = (what, where = document) => where.querySelector(what);
  const $$ = (what, where = document) => [...where.querySelectorAll(what)];
  document.documentElement.classList.add("with-script");

  // --- pieces of the page ---------------------------------------------------------------------------------------------

  const use = glyph => `#f-${glyph}`;
  const glyphOf = row => $(":scope > .field use", row);

  // A field that is replaced while it is typed in is not left, whatever the browser makes of it.
  let replaced = false;
  const replacing = act => { replaced = true; act(); replaced = false; };

  // What is being typed goes over into the new field; leaving that is no change to the browser, so it is told apart.
  const typedOn = (field, value) => {
    if (field.value === value) return;
    field.value = value;
    field.dataset.typed = "";
  };

  // Put a new piece in the place of the old one; what is being typed, and the focus, stay.
  const place = piece => {
    const old = document.getElementById(piece.id);
    if (!old || old.outerHTML === piece.outerHTML) return;
    const active = old.contains(document.activeElement) ? document.activeElement : null;
    const path = active && (active.id ? `#${CSS.escape(active.id)}`
      : active.dataset.level !== undefined ? `[data-level="${active.dataset.level}"]`
      : active.dataset.act ? `[data-act="${active.dataset.act}"]` : active.dataset.sure ? `[data-sure="${active.dataset.sure}"]`
      : active.tagName.toLowerCase());
    const typed = active?.matches("input:not([type=radio]):not([type=checkbox]), textarea") ? active.value : null;
    const hidden = old.hidden;
    for (const open of $$("details[open][id]", old)) { const same = piece.querySelector(`#${CSS.escape(open.id)}`); if (same) same.open = true; }
    $$("details", old).forEach((one, i) => { const same = $$("details", piece)[i]; if (same && one.open) same.open = true; });
    replacing(() => old.replaceWith(piece));
    piece.hidden = hidden;
    if (!path) return;
    const again = piece.querySelector(path) ?? piece.querySelector("button, input");
    if (again && typed !== null && !again.matches("[aria-invalid]")) typedOn(again, typed);
    again?.focus({ preventScroll: true });
  };

  const pieces = text => $$("[data-live]", new DOMParser().parseFromString(text, "text/html"));
  // Rows that hold more than the server knows: what waits to be sent, and what was refused and is still to be mended.
  const busy = () => new Set([
    ...kept.all().filter(mine).map(one => one.row).filter(Boolean),
    ...$$("[data-live]", page).filter(one => $("[aria-invalid]", one)).map(one => one.id),
  ]);
  let entered = 0;

  const show = (text, { except = new Set() } = {}) => {
    for (const piece of pieces(text)) if (!except.has(piece.id)) place(document.importNode(piece, true));
    const touched = $("#tray")?.dataset.touched;
    if (touched && touched !== "0") page.dataset.touched = touched;
  };

  // The page as the server has it now: piece by piece where the pieces are the same, else as a whole.
  const refresh = async () => {
    let text;
    const before = entered;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok) return;
      text = await answer.text();
    } catch { return; }
    if (entered !== before) return;  // older than what was entered meanwhile; the answer to that says how it stands
    const other = new DOMParser().parseFromString(text, "text/html");
    const ids = where => $$("[data-live]", where).map(one => one.id).join(" ");
    const fresh = other.getElementById("entry");
    if (!fresh) return;
    if (ids(fresh) === ids(page)) show(text, { except: busy() });
    else {
      const open = $$("details[open][id]", page).map(one => one.id);
      const field = page.contains(document.activeElement) && document.activeElement.id ? document.activeElement : null;
      const typing = field?.matches("input:not([type=radio]):not([type=checkbox]), textarea") && field.value !== field.defaultValue;
      replacing(() => page.replaceChildren(...[...fresh.childNodes].map(one => document.importNode(one, true))));
      for (const id of open) { const one = document.getElementById(id); if (one) one.open = true; }
      const again = field && document.getElementById(field.id);
      if (again) { if (field.matches("input:not([type=radio]):not([type=checkbox]), textarea")) typedOn(again, field.value); again.focus({ preventScroll: true }); }
      place(document.importNode(other.getElementById("tray"), true));
      if (typing && !again) saidAlone("Not saved: what was being typed. Another device changed this page meanwhile.");
    }
    page.dataset.touched = fresh.dataset.touched;
    $$("[data-examination]", fresh).forEach(one => {
      const same = one.closest("section")?.id && document.getElementById(one.closest("section").id);
      const form = same && $("form.findings", same);
      if (form) form.dataset.examination = one.dataset.examination;
    });
    markAll();
  };

  // --- one row --------------------------------------------------------------------------------------------------------

  const stateOf = row => ({ level: row.dataset.level, sure: row.dataset.sure });

  const paint = (row, { level, sure }) => {
    row.dataset.level = level;
    row.dataset.sure = sure;
    const asked = row.classList.contains("asked");
    const key = $$(".level", row).find(one => one.dataset.level === level);
    const clear = asked ? level === "no" : level === "0";
    row.classList.toggle("is-clear", Boolean(key) && clear);
    row.classList.toggle("is-seen", Boolean(key) && !clear && level !== "not asked");
    for (const one of $$(".level", row)) {
      one.setAttribute("aria-pressed", one === key);
      if (one.classList.contains("level--clear")) {
        one.classList.toggle("level--swept", sure === "swept" && one === key);
        const glyph = $("use", one);
        if (glyph) glyph.setAttribute("href", use(sure === "swept" && one === key ? "swept" : "clear"));
      }
    }
    const glyph = key ? $("use", key)?.getAttribute("href") : use("none");
    const drawn = key && sure === "doubtful" && !clear ? use("doubt") : glyph;
    if (drawn) glyphOf(row)?.setAttribute("href", drawn);
    const words = { fairly: "fairly sure", doubtful: "doubtful" };
    $(".state", row).textContent = key && level !== "0" ? words[sure] ?? "" : "";
    $(".said-level", row).textContent = sayLevel(row, { level, sure });
  };

  const sayLevel = (row, { level, sure }) => {
    const key = $$(".level", row).find(one => one.dataset.level === level);
    if (!key) return row.classList.contains("asked") ? "no answer" : "not looked at";
    if (level === "0" && key.textContent.trim() === "not seen") return sure === "swept" ? "swept: looked, not seen" : "looked, not seen";
    return key.textContent.trim() + (sure === "sure" || level === "0" ? "" : sure === "fairly" ? ", fairly sure" : `, ${sure}`);
  };

  const keptIcon = () => {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const drawn = document.createElementNS("http://www.w3.org/2000/svg", "use");
    svg.setAttribute("class", "icon");
    svg.setAttribute("aria-hidden", "true");
    drawn.setAttribute("href", "#i-kept");
    svg.append(drawn);
    return svg;
  };

  const mark = (row, words) => {
    row.classList.toggle("is-kept", Boolean(words));
    const slot = $(".state", row);
    if (!words) return;
    slot.replaceChildren(keptIcon(), words);
  };

  const titleOf = row => row.closest("form")?.dataset.title ?? "";

  const say = (row, state) => {
    const said = document.getElementById("said");
    if (!said) return;
    const strong = document.createElement("b");
    const sentence = `${$(".name", row).textContent}: ${sayLevel(row, state)}`;
    strong.textContent = `${sentence}.`;
    const seen = !row.classList.contains("asked") && Number(state.level) > 0;
    said.replaceChildren(strong, ` ${titleOf(row)}.${seen ? " How sure?" : ""}`);
    const sure = $("#tray .sure");
    if (sure) {
      sure.classList.toggle("is-idle", !seen);
      sure.dataset.row = seen ? row.id : "";
      for (const one of $$("button", sure)) {
        one.disabled = !seen;
        one.setAttribute("aria-pressed", seen && one.dataset.sure === state.sure);
      }
    }
    const undo = $("#tray .undo");
    if (undo) undo.disabled = false;
  };

  const fieldsOf = form => {
    const fields = {};
    for (const one of $$("input[type=hidden]", form)) if (one.name && one.name !== "csrfmiddlewaretoken") fields[one.name] = one.value;
    return fields;
  };

  const enter = (row, state) => {
    const form = row.closest("form");
    const was = stateOf(row);
    paint(row, state);
    say(row, state);
    const level = state.level === "" ? "-" : state.level.replaceAll(" ", "_");
    kept.keep({
      case: page.dataset.case, url: form.action, row: row.id, key: row.id, group: form.closest("section").id, was,
      fields: fieldsOf(form), words: $(".name", row).textContent,
      set: { what: row.dataset.finding, level, sure: state.sure, seen: row.dataset.version },
    });
  };

  const press = (row, key) => {
    const now = stateOf(row);
    const same = key.dataset.level === now.level && now.sure !== "swept";
    const stays = row.closest("form").hasAttribute("data-stays");
    if (same && stays) return;
    enter(row, { level: same ? "" : key.dataset.level, sure: "sure" });
  };

  // --- what is pressed ------------------------------------------------------------------------------------------------

  page.addEventListener("click", event => {
    const key = event.target.closest("form.findings .level");
    if (key) {
      event.preventDefault();
      const row = key.closest(".find");
      if (key.dataset.keeps) decide(row, key);
      else press(row, key);
      return;
    }
    const act = event.target.closest("button[data-act]");
    if (act) { event.preventDefault(); sweep(act); }
  });

  const decide = (row, key) => {
    const [, level, sure, seen] = key.value.split(" ");
    const asked = kept.all().filter(mine).filter(one => one.asks && one.key === row.id);
    asked.forEach(one => kept.drop(one.id));
    row.classList.remove("is-asking");
    if (key.dataset.keeps === "theirs") { refresh(); return; }
    const form = row.closest("form");
    kept.keep({
      case: page.dataset.case, url: form.action, row: row.id, key: row.id, group: form.closest("section").id,
      was: stateOf(row), fields: fieldsOf(form), words: $(".name", row).textContent,
      set: { what: row.dataset.finding, level, sure: sure === "swept" ? "sure" : sure, seen },
    });
  };

  const sweep = button => {
    const form = button.closest("form");
    const back = button.dataset.act === "unsweep";
    const rows = $$(":scope > .finds > .find", form).filter(row => back ? row.dataset.sure === "swept" : row.dataset.level === "");
    for (const row of rows) {
      paint(row, back ? { level: "", sure: "sure" } : { level: "0", sure: "swept" });
    }
    const said = document.getElementById("said");
    const strong = document.createElement("b");
    strong.textContent = back ? "Sweep taken back." : `${rows.length} swept: looked, not seen, at a glance.`;
    said?.replaceChildren(strong, ` ${form.dataset.title}.`);
    kept.keep({
      case: page.dataset.case, url: button.formAction, row: null, key: `${form.closest("section").id} ${button.dataset.act}`,
      group: form.closest("section").id, fields: fieldsOf(form), words: "sweep", rows: rows.map(row => row.id),
      swept: !back,
    });
  };

  document.addEventListener("click", event => {
    const sure = event.target.closest("#tray .sure button");
    if (!sure) return;
    const form = sure.closest("form");
    const row = form.dataset.row ? document.getElementById(form.dataset.row)
      : $(`form.findings[data-examination="${form.dataset.examination}"] [data-finding="${form.dataset.finding}"]`);
    if (!row) return;                         // the entry stands on another page: the form does it
    event.preventDefault();
    enter(row, { level: row.dataset.level, sure: sure.dataset.sure });
  });

  // --- small forms that are kept: numbers, readings, notes -----------------------------------------------------------

  page.addEventListener("change", event => {
    if (replaced) return;
    delete event.target.dataset.typed;
    const form = event.target.closest("form[data-auto]");
    if (form) form.requestSubmit();
  });
  page.addEventListener("focusout", event => {
    if (replaced || event.target.dataset.typed === undefined) return;
    delete event.target.dataset.typed;
    event.target.closest("form[data-auto]")?.requestSubmit();
  });

  page.addEventListener("submit", event => {
    const form = event.target;
    if (!form.matches("form[data-kept]")) {
      if (form.matches("form[data-files]")) return;
      if (kept.away) { event.preventDefault(); saidAlone("No connection. This has to wait until it is back; findings and readings are kept meanwhile."); }
      return;
    }
    event.preventDefault();
    const fields = {};
    for (const [name, value] of new FormData(form)) if (name !== "csrfmiddlewaretoken") fields[name] = value;
    const row = form.closest("[data-live]")?.id ?? null;
    if (form.dataset.keeps) kept.all().filter(one => one.asks && one.row === row).forEach(one => kept.drop(one.id));
    kept.keep({
      case: page.dataset.case, url: form.action, row, key: form.dataset.clears === undefined ? form.id : `${form.id} ${Date.now()}`,
      group: form.id, fields, words: form.dataset.what,
    });
    saidAlone(`${form.dataset.what} entered.`);
    if (form.dataset.clears !== undefined && kept.away) form.reset();
  });

  const saidAlone = words => {
    const said = document.getElementById("said");
    if (!said) return;
    const strong = document.createElement("b");
    strong.textContent = words;
    said.replaceChildren(strong);
    $("#tray .sure")?.classList.add("is-idle");
  };

  // --- answers --------------------------------------------------------------------------------------------------------

  document.addEventListener("wetmount:answered", ({ detail: { entry, status, text, examination } }) => {
    if (!mine(entry)) return;
    const section = document.getElementById(entry.group ?? "");
    if (examination && section?.matches("section")) $("form.findings", section).dataset.examination = examination;
    const form = document.getElementById(entry.group ?? "");
    if (status === 200 && form?.matches("form[data-clears]")) form.reset();
    const later = new Set(kept.all().filter(one => mine(one) && one.id !== entry.id && !one.asks).map(one => one.row));
    if (later.size) later.add("tray");  // it speaks of what was pressed last
    const got = pieces(text).filter(one => one.id !== "tray");
    if (status === 200 || got.length) {
      show(text, { except: later });
      // A small form, or the first entry of a case (which gives it a fish), may change what else is on the page.
      if (!got.length || (!entry.set && status === 200) || got.some(one => !document.getElementById(one.id))) refresh();
    } else {
      const why = new DOMParser().parseFromString(text, "text/html").querySelector("[role=alert] p")?.textContent
        ?? (status === 404 ? "What it belongs to was deleted meanwhile." : "It was not accepted.");
      const words = `Not saved: ${entry.words ?? ""}. ${why}`;
      const at = entered;
      saidAlone(words);
      refresh().then(() => { if (entered === at) saidAlone(words); });  // the page made anew must not swallow why
    }
    tidy();
  });

  document.addEventListener("wetmount:refused-for-now", ({ detail: { status, text } }) => {
    if (status === 403) {
      const door = text.includes("does not know this device");
      saidAlone(door ? "This device is no longer let in. Open the link again; what was entered is kept here." : "The page is too old. Reload it; what was entered is kept here.");
    } else saidAlone("The casebook had an error. What was entered is kept on this device and sent again.");
  });

  // What waits is marked on its row, counted at the head of its examination, and said once at the top.
  const markAll = () => {
    const waits = kept.waiting().filter(mine);
    for (const entry of waits) {
      if (entry.swept !== undefined) {
        for (const id of entry.rows ?? []) {
          const row = document.getElementById(id);
          if (row) { paint(row, entry.swept ? { level: "0", sure: "swept" } : { level: "", sure: "sure" }); if (kept.away) mark(row, "kept on this device"); }
        }
      }
      const row = entry.row && document.getElementById(entry.row);
      if (!row) continue;
      if (entry.set && row.matches(".find")) paint(row, { level: entry.set.level === "-" ? "" : entry.set.level.replaceAll("_", " "), sure: entry.set.sure });
      if (entry.set && kept.away) mark(row, "kept on this device");
      if (!entry.set && kept.away) {
        row.classList.add("is-kept");
        const says = $(".says, .state-line", row);
        if (says) says.textContent = "kept on this device";
      }
      if (!entry.set) fill(row, entry);
    }
    tidy();
  };

  // A small form shows what waits to be sent, so that the next field typed in it is sent with that and not without.
  const fill = (row, entry) => {
    const form = document.getElementById(entry.key);
    if (!form?.matches("form[data-auto]") || !row.contains(form)) return;
    for (const [name, value] of Object.entries(entry.fields)) {
      const field = form.elements.namedItem(name);
      if (field && field.type !== "hidden" && field !== document.activeElement && field.value !== value) field.value = value;
    }
  };

  const stashed = new WeakMap();  // what stood at the head of an examination before "not sent yet"
  const tidy = () => {
    const waits = kept.waiting().filter(mine);
    for (const saved of $$("[data-saved]", page)) {
      const section = saved.closest("section");
      const n = kept.away ? waits.filter(one => one.group === section?.id).length : 0;
      if (n) {
        if (!stashed.has(saved)) stashed.set(saved, [...saved.childNodes]);
        saved.replaceChildren(keptIcon(), `${n} not sent yet`);
      } else if (stashed.has(saved)) {
        saved.replaceChildren(...stashed.get(saved));
        stashed.delete(saved);
      }
      saved.classList.toggle("kept", Boolean(n));
    }
  };
  document.addEventListener("wetmount:kept", markAll);
  document.addEventListener("wetmount:sending", () => { entered += 1; });

  // --- undo -----------------------------------------------------------------------------------------------------------

  document.addEventListener("submit", async event => {
    if (!event.target.matches("#tray .undoing")) return;
    event.preventDefault();
    const waits = kept.all().filter(one => mine(one) && !one.asks);
    const last = waits.at(-1);
    if (last && !last.tried) {
      kept.drop(last.id);
      const row = last.row && document.getElementById(last.row);
      if (row?.matches(".find") && last.was) { paint(row, last.was); mark(row, ""); say(row, last.was); saidAlone(`Taken back: ${last.words}.`); }
      else if (last.rows) last.rows.forEach(id => { const one = document.getElementById(id); if (one) { paint(one, last.swept ? { level: "", sure: "sure" } : { level: "0", sure: "swept" }); mark(one, ""); } });
      else if (row) { row.classList.remove("is-kept"); refresh(); }
      if (!last.row?.length || !last.was) saidAlone(`Taken back: ${last.words ?? "entry"}.`);
      tidy();
      return;
    }
    if (last) { saidAlone("That entry may have gone over already: undo it when the connection is back."); kept.flush(); return; }
    try {
      const answer = await fetch(event.target.action, { method: "POST", headers: { "X-CSRFToken": kept.token(), "HX-Request": "true" } });
      if (!answer.ok && answer.status !== 204) {
        const why = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[role=alert] p")?.textContent;
        await refresh();
        saidAlone(why ?? "It could not be taken back.");
        return;
      }
    } catch { document.dispatchEvent(new CustomEvent("wetmount:lost")); return; }
    const undone = document.getElementById("said")?.textContent.replace(/ How sure\?$/, "") ?? "";
    await refresh();
    saidAlone(`Taken back: ${undone}`);
  });

  // --- another device -----------------------------------------------------------------------------------------------

  const look = async () => {
    if (!page.dataset.asks || document.hidden || kept.waiting().length) return;
    try {
      const answer = await fetch(page.dataset.asks, { cache: "no-store" });
      if (!answer.ok) return;
      const now = await answer.text();
      if (now !== page.dataset.touched && !kept.waiting().length) await refresh();
    } catch { document.dispatchEvent(new CustomEvent("wetmount:lost")); }
  };
  document.addEventListener("visibilitychange", look);
  document.addEventListener("wetmount:back", look);
  setInterval(look, 8000);

  globalThis.wetmountEntry = { page, press, enter, place, saidAlone };

  // What was asked before the page was opened again is asked again.
  kept.all().filter(one => mine(one) && one.asks).forEach(one => kept.askAgain(one.id));
  markAll();
  kept.flush();
})();

// Entries on their way: sent one after the other, kept on this device while there is no connection, sent again when it
// is back. Each carries an id of its own, so that one whose answer was lost is not written twice.
(() => {
  const STORE = "wetmount.kept";
  const PATIENCE = 20_000;  // milliseconds for one answer
  let memory = [];
  let stored = true;
  try { localStorage.setItem(`${STORE}.try`, "1"); localStorage.removeItem(`${STORE}.try`); } catch { stored = false; }

  const read = () => {
    if (!stored) return memory;
    try { return JSON.parse(localStorage.getItem(STORE) ?? "[]"); } catch { return []; }
  };
  const write = entries => {
    memory = entries;
    if (!stored) return;
    try { localStorage.setItem(STORE, JSON.stringify(entries)); } catch { stored = false; }
  };
  const change = (id, values) => write(read().map(one => one.id === id ? { ...one, ...values } : one));
  const drop = id => write(read().filter(one => one.id !== id));

  // Not crypto.randomUUID: over plain http on a local network there is none.
  const newId = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = bytes[6] & 15 | 64;
    bytes[8] = bytes[8] & 63 | 128;
    const hex = [...bytes].map(one => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  const token = () => document.querySelector("input[name=csrfmiddlewaretoken]")?.value ?? "";
  const tell = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));
  const waiting = () => read().filter(one => !one.asks);

  let sending = false;
  let away = false;

  const body = entry => {
    const form = new URLSearchParams(entry.fields);
    form.set("id", entry.id);
    if (entry.set) form.set("set", [entry.set.what, entry.set.level, entry.set.sure, entry.set.seen].join(" "));
    return form;
  };

  // What came after in the same place was entered with the answered one in sight: it goes by the version, the reading
  // and the examination that came of it.
  const seenBy = (entry, piece, examination) => {
    const version = piece?.dataset.version;
    const form = Object.fromEntries(["seen", "reading"].map(name => [name, piece?.querySelector(`input[name=${name}]`)?.value]));
    write(read().map(one => {
      if (one.id === entry.id || one.asks) return one;
      const set = one.set && one.key === entry.key && version ? { ...one.set, seen: version } : one.set;
      const fields = { ...one.fields };
      if (examination && one.group === entry.group) fields.examination ||= examination;
      if (piece && !one.set && one.row === entry.row && "seen" in fields && (fields.reading ?? "") === (entry.fields.reading ?? "")) {
        if (form.seen) fields.seen = form.seen;
        if (form.reading) fields.reading = form.reading;
      }
      return { ...one, set, fields };
    }));
  };

  // Not AbortSignal.timeout: phones of some years ago have none, and an answer that never comes would hold up the rest.
  const post = async entry => {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const answer = await fetch(entry.url, {
        method: "POST", body: body(entry), redirect: "follow", signal: stop.signal,
        headers: { "X-CSRFToken": token(), "X-Wetmount": "pieces" },
      });
      return { answer, text: await answer.text() };
    } catch {
      return null;
    } finally {
      clearTimeout(late);
    }
  };

  const once = async entry => {
    change(entry.id, { tried: true });
    const got = await post(entry);
    if (!got) return false;
    const { answer: { status, headers }, text } = got;
    if (status >= 500 || status === 403 || status === 408) {
      tell("wetmount:refused-for-now", { entry, status, text });
      return false;
    }
    const examination = headers.get("X-Examination");
    const piece = entry.row && new DOMParser().parseFromString(text, "text/html").getElementById(entry.row);
    if (status === 200) seenBy(entry, piece, examination);
    // Two devices wrote it, and the answer asks which holds; unless something later from here stands in line, which asks
    // in its turn. Whatever else was not accepted is not kept: the page says why.
    const overtaken = read().some(one => one.id !== entry.id && one.key === entry.key && !one.asks);
    if (status === 409 && piece?.querySelector(".asks") && !overtaken) change(entry.id, { asks: true });
    else drop(entry.id);
    tell("wetmount:answered", { entry, status, text, examination });
    return true;
  };

  const flush = async () => {
    if (sending) return;
    sending = true;
    try {
      for (let next = waiting()[0]; next; next = waiting()[0]) {
        tell("wetmount:sending", { entry: next });
        if (!await once(next)) { away = true; tell("wetmount:kept", {}); tell("wetmount:lost", {}); return; }
        away = false;
      }
    } finally {
      sending = false;
      tell("wetmount:kept", {});
    }
  };

  // Without a connection an entry that was not tried yet is replaced by a later one of the same row. With one, each is
  // sent, so that Undo takes back what was pressed last.
  const keep = entry => {
    const entries = read();
    const before = away ? entries.filter(one => one.key === entry.key && !one.tried && !one.asks).at(-1) : undefined;
    const chained = before?.set && entry.set
      ? { ...entry, set: { ...entry.set, seen: before.set.seen }, was: before.was } : entry;
    const rest = before && entry.set ? entries.filter(one => one.id !== before.id) : entries;
    const answered = rest.filter(one => !(one.asks && one.key === entry.key));  // the question was decided
    write([...answered, { ...chained, id: newId(), at: Date.now() }]);
    tell("wetmount:kept", {});
    flush();
  };

  // The connection line says how much waits here; files are entries too.
  const say = () => {
    const words = document.querySelector("#connection .kept-words");
    const all = waiting().length + (globalThis.wetmountFiles?.waiting().length ?? 0);
    if (words) words.textContent = all === 0 ? "Keep this page open." : all === 1
      ? "1 entry is kept on this device and goes over when it is back. Keep working."
      : `${all} entries are kept on this device and go over when it is back. Keep working.`;
  };
  document.addEventListener("wetmount:kept", say);

  document.addEventListener("wetmount:back", flush);
  addEventListener("online", flush);
  addEventListener("storage", event => { if (event.key === STORE) tell("wetmount:kept", {}); });
  setInterval(() => { if (waiting().length) flush(); }, 5000);

  globalThis.wetmountKept = {
    all: read, waiting, keep, drop, flush, token, newId,
    askAgain: id => { change(id, { asks: false }); flush(); },
    get away() { return away; },
  };
  addEventListener("load", flush);
})();

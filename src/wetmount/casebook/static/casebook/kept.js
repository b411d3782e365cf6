// Entries on their way: sent one after the other, kept on this device while there is no connection, sent again when it
// is back. Each carries an id of its own, so that one whose answer was lost is not written twice.
(() => {
  const STORE = "wetmount.kept";
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

  // What came after on the same row was entered with this in sight.
  const seenBy = (entry, version, examination) => write(read().map(one => {
    if (one.id === entry.id || one.key !== entry.key && one.group !== entry.group) return one;
    const set = one.set && one.key === entry.key && version !== null ? { ...one.set, seen: version } : one.set;
    const fields = examination && one.group === entry.group && !one.fields.examination
      ? { ...one.fields, examination } : one.fields;
    return { ...one, set, fields };
  }));

  const once = async entry => {
    change(entry.id, { tried: true });
    let answer, text;
    try {
      answer = await fetch(entry.url, {
        method: "POST", body: body(entry), redirect: "follow", signal: AbortSignal.timeout?.(20000),
        headers: { "X-CSRFToken": token(), "X-Wetmount": "pieces" },
      });
      text = await answer.text();
    } catch {
      return false;
    }
    if (answer.status >= 500 || answer.status === 403 || answer.status === 408) {
      tell("wetmount:refused-for-now", { entry, status: answer.status, text });
      return false;
    }
    const version = new RegExp(`id="${CSS.escape(entry.row ?? "")}"[^>]*?data-version="(\\d+)"`).exec(text)?.[1] ?? null;
    seenBy(entry, version, answer.headers.get("X-Examination"));
    if (answer.status === 409) change(entry.id, { asks: true });
    else drop(entry.id);
    tell("wetmount:answered", { entry, status: answer.status, text, examination: answer.headers.get("X-Examination") });
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

  document.addEventListener("wetmount:back", flush);
  addEventListener("online", flush);
  addEventListener("storage", event => { if (event.key === STORE) tell("wetmount:kept", {}); });
  setInterval(() => { if (waiting().length) flush(); }, 5000);

  globalThis.wetmountKept = {
    all: read, waiting, keep, drop, flush, token,
    askAgain: id => { change(id, { asks: false }); flush(); },
    get away() { return away; },
  };
})();

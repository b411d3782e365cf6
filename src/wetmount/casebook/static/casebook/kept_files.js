// Photographs, voice notes and clips on their way: kept on this device (IndexedDB) until they have gone over, also when
// the page is closed meanwhile. Each choice of files carries an id of its own, so that it is not written twice.
(() => {
  const kept = globalThis.wetmountKept;
  const PATIENCE = 600_000;  // milliseconds for one answer: a clip over a poor connection takes minutes
  const tell = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));

  // --- the store; without one (a private window, a full disk) this page holds them ------------------------------------

  const memory = new Map();
  const opened = new Promise(done => {
    try {
      const asked = indexedDB.open("wetmount", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("files", { keyPath: "id" });
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => done(null);
    } catch { done(null); }
  });
  const within = async (mode, act) => {
    const base = await opened;
    if (!base) return undefined;
    return new Promise((done, failed) => {
      const work = base.transaction("files", mode);
      const asked = act(work.objectStore("files"));
      work.oncomplete = () => done(asked.result);
      work.onerror = work.onabort = () => failed(work.error);
    });
  };

  let known = [];  // as last read
  const read = async () => {
    const stored = await within("readonly", store => store.getAll()).catch(() => []) ?? [];
    known = [...stored, ...memory.values()].sort((one, other) => one.at - other.at);
    return known;
  };
  const write = async one => {
    const stored = await within("readwrite", store => store.put(one)).catch(() => undefined);
    if (stored === undefined) memory.set(one.id, one); else memory.delete(one.id);
  };
  const drop = async id => {
    memory.delete(id);
    await within("readwrite", store => store.delete(id)).catch(() => {});
    await read();
  };

  // --- sending --------------------------------------------------------------------------------------------------------

  const waiting = () => known.filter(one => one.refused === undefined);

  const post = async one => {
    const data = new FormData();
    for (const [name, value] of Object.entries(one.fields)) data.set(name, value);
    data.set("id", one.id);
    for (const file of one.files) data.append("files", file, file.name);
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const answer = await fetch(one.url, {
        method: "POST", body: data, signal: stop.signal,
        headers: { "X-CSRFToken": kept.token(), "X-Wetmount": "pieces" },
      });
      return { status: answer.status, text: await answer.text() };
    } catch {
      return null;
    } finally {
      clearTimeout(late);
    }
  };

  const once = async one => {
    const got = await post(one);
    if (!got || got.status >= 500 || got.status === 403 || got.status === 408) return false;
    const why = got.status === 200 ? got.text
      : new DOMParser().parseFromString(got.text, "text/html").querySelector("[role=alert] p")?.textContent
        ?? (got.status === 404 ? "What the file belongs to was deleted meanwhile." : "The file was not accepted.");
    // A refusal is kept, without the file, until a page of its case has said it.
    if (why) await write({ ...one, files: [], refused: why });
    else await drop(one.id);
    await read();
    tell("wetmount:kept", {});
    tell("wetmount:files-answered", { one, why, kept: got.status === 200 });
    return true;
  };

  let sending = false;
  const flush = async () => {
    if (sending) return;
    sending = true;
    try {
      for (await read(); waiting().length;) {
        if (!await once(waiting()[0])) { tell("wetmount:lost", {}); return; }
      }
    } finally {
      sending = false;
      tell("wetmount:kept", {});
    }
  };

  const keep = async values => {
    await write({ ...values, id: kept.newId(), at: Date.now() });
    await read();
    tell("wetmount:kept", {});
    await flush();
  };

  document.addEventListener("wetmount:back", flush);
  addEventListener("online", flush);
  setInterval(() => { if (waiting().length) flush(); }, 5000);

  globalThis.wetmountFiles = {
    keep, drop, waiting, get lasting() { return memory.size === 0; },
    refused: () => known.filter(one => one.refused !== undefined),
  };
  flush();
})();

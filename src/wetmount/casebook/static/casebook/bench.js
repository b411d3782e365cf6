// Working without a mouse: keys at the bench, and the folded rows by typing.
(() => {
  const entry = globalThis.wetmountEntry;
  if (!entry) return;
  const { page, press, enter } = entry;
  const $ = (what, where = document) => where.querySelector(what);
  const $$ = (what, where = document) => [...where.querySelectorAll(what)];

  // --- keys at the bench ----------------------------------------------------------------------------------------------

  const shown = () => $$(".find", page).filter(row =>
    row.offsetParent !== null && !row.closest("details:not([open])") && $(".level:not([disabled])", row));
  const current = () => document.activeElement?.closest?.(".find") ?? null;
  const keyOf = row => $('.level[aria-pressed="true"]', row) ?? $(".level", row);
  const go = row => { if (row) { keyOf(row).focus(); row.scrollIntoView({ block: "nearest" }); } };

  addEventListener("keydown", event => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const seek = event.target.closest?.("[data-seek]");
    if (seek && event.key === "ArrowDown") {
      const first = shown().find(row => seek.compareDocumentPosition(row) & Node.DOCUMENT_POSITION_FOLLOWING);
      if (first) { event.preventDefault(); go(first); }
      return;
    }
    if (seek && event.key === "Enter") event.preventDefault();
    if (event.target.closest?.("input, textarea, select")) return;
    const rows = shown();
    const row = current();
    const at = rows.indexOf(row);
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      if (!rows.length) return;
      event.preventDefault();
      go(rows[at < 0 ? 0 : Math.min(Math.max(at + (event.key === "ArrowDown" ? 1 : -1), 0), rows.length - 1)]);
    } else if (event.key === "/") {
      const seeks = $$("[data-seek]", page);
      const near = row ? $("[data-seek]", row.closest("form")) : null;
      if (near ?? seeks[0]) { event.preventDefault(); (near ?? seeks[0]).focus(); }
    } else if (row && (event.key === "ArrowLeft" || event.key === "ArrowRight")) {
      const keys = $$(".level", row);
      const next = keys[keys.indexOf(document.activeElement) + (event.key === "ArrowRight" ? 1 : -1)];
      if (next) { event.preventDefault(); next.focus(); }
    } else if (row && /^[0-9]$/.test(event.key)) {
      const key = $$(".level:not([data-keeps])", row)[Number(event.key)];
      if (key && !(key.getAttribute("aria-pressed") === "true" && row.dataset.sure !== "swept")) { event.preventDefault(); press(row, key); key.focus(); }
    } else if (row && (event.key === "Backspace" || event.key === "Delete")) {
      event.preventDefault();
      if (row.dataset.level !== "" && !row.closest("form").hasAttribute("data-stays")) enter(row, { level: "", sure: "sure" });
    }
  });

  // --- something else: the folded rows by typing ------------------------------------------------------------------------

  const plain = text => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  page.addEventListener("input", event => {
    const seek = event.target.closest("[data-seek]");
    if (!seek) return;
    const words = plain(seek.value).split(/\s+/).filter(Boolean);
    const fold = document.getElementById(seek.getAttribute("aria-controls"));
    const hits = row => words.every(word => plain(row.dataset.words ?? "").includes(word));
    const rows = $$(".find", fold);
    for (const row of rows) row.hidden = words.length > 0 && !hits(row);
    fold.open = words.length > 0;
    const above = $$(":scope > .finds .find", seek.closest("form")).filter(row => words.length && hits(row));
    const note = $(".above", seek.parentElement);
    const found = rows.filter(row => !row.hidden).length;
    note.textContent = !words.length ? "" : [
      found ? `${found} below.` : "Nothing below.",
      above.length ? `On the list above: ${above.map(row => $(".name", row).textContent.toLowerCase()).join(", ")}.` : "",
    ].join(" ");
  });
})();

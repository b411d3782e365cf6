// What was not looked at need not stand in the address.
(() => {
  const sparse = document.querySelector("form[data-sparse]");
  const empty = () => [...sparse.querySelectorAll("select[name]")].filter(select => !select.value);
  sparse?.addEventListener("submit", () => { for (const select of empty()) select.disabled = true; });
  addEventListener("pageshow", () => { for (const select of sparse?.querySelectorAll("select") ?? []) select.disabled = false; });
  sparse?.addEventListener("htmx:configRequest", event => {
    for (const select of empty()) delete event.detail.parameters[select.name];
  });
})();

// Typing narrows a long list to the rows whose words hold what was typed; folds with a hit open.
(() => {
  for (const input of document.querySelectorAll("[data-only]")) {
    input.closest(".js-only").hidden = false;
    const rows = [...document.querySelectorAll(input.dataset.only)];
    const folds = [...new Set(rows.map(row => row.closest("details")))];
    const open = new Map(folds.map(fold => [fold, fold.open]));
    input.addEventListener("input", () => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      for (const row of rows) {
        const text = row.querySelector("label").textContent.toLowerCase();
        row.hidden = !words.every(word => text.includes(word));
      }
      for (const fold of folds) {
        const hits = rows.filter(row => row.closest("details") === fold && !row.hidden).length;
        fold.hidden = hits === 0;
        fold.open = words.length ? hits > 0 : open.get(fold);
      }
    });
    // A key that only narrows the list changes nothing that is weighed.
    input.addEventListener("change", event => event.stopPropagation());
  }
})();

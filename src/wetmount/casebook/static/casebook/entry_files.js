// Photographs, voice notes and clips on the pages of a case: what is on its way is said, what went over is shown.
(() => {
  const entry = globalThis.wetmountEntry;
  const files = globalThis.wetmountFiles;
  if (!entry) return;
  const { page, place, saidAlone } = entry;
  const mine = one => one.case === page.dataset.case;
  const progressOf = one => document.getElementById(one.section ?? "")?.querySelector("form[data-files] .progress");
  const count = one => one.files.length === 1 ? "1 file" : `${one.files.length} files`;

  page.addEventListener("change", event => {
    const form = event.target.closest("form[data-files]");
    if (!form || !event.target.files?.length) return;
    const section = form.closest("section")?.id || null;
    const fields = {};
    for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "csrfmiddlewaretoken") fields[name] = value;
    const head = section && document.getElementById(`${section}-head`);
    if (head) fields.examination = head.querySelector("input[name=examination]").value;
    files.keep({ case: page.dataset.case, url: form.action, section, fields, files: [...event.target.files] });
    form.reset();
  });

  let away = false;
  const say = () => {
    for (const one of files.waiting().filter(mine)) {
      const words = progressOf(one);
      if (!words) continue;
      words.textContent = !away ? `Sending ${count(one)} …`
        : files.lasting ? `${count(one)} kept on this device, not sent yet.`
        : `${count(one)} not sent yet: keep this page open.`;
    }
    for (const one of files.refused().filter(mine)) {
      const words = progressOf(one);
      if (words) words.textContent = one.refused; else saidAlone(one.refused);
      files.drop(one.id);
    }
  };
  document.addEventListener("wetmount:lost", () => { away = true; say(); });
  document.addEventListener("wetmount:back", () => { away = false; });
  document.addEventListener("wetmount:kept", say);

  document.addEventListener("wetmount:files-answered", async ({ detail: { one, kept, why } }) => {
    away = false;
    if (!mine(one)) return;
    if (!kept) { say(); return; }
    const words = progressOf(one);
    if (words) words.textContent = why || "Kept.";
    await refresh();
    say();
  });

  const refresh = async () => {
    try {
      const other = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
      for (const form of other.querySelectorAll("form[data-files]")) {
        const section = form.closest("section")?.id;
        const here = section && document.getElementById(section);
        const list = form.closest("section")?.querySelector(".pictures");
        if (!here || !list) continue;
        const old = here.querySelector(".pictures");
        if (old) old.replaceWith(document.importNode(list, true));
        else here.querySelector("form[data-files]").before(document.importNode(list, true));
      }
      place(document.importNode(other.getElementById("tray"), true));
      page.dataset.touched = other.getElementById("entry").dataset.touched;
    } catch { /* shown when the page is opened again */ }
  };
  say();
})();

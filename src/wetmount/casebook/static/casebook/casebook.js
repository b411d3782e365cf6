// What every page does: the light switch, the list of steps, the connection line. Pages work without it.
(() => {
  const root = document.documentElement;
  const wide = matchMedia("(min-width: 60rem)");

  // The list of steps lies open beside the page where there is room for it.
  const steps = document.querySelector(".steps");
  if (steps && wide.matches) steps.open = true;

  // Dim: the microscope room and back to the bright bench, remembered on this device.
  const lamp = document.querySelector(".lamp button");
  lamp?.addEventListener("click", event => {
    event.preventDefault();
    const light = root.dataset.light === "microscope" ? "bench" : "microscope";
    root.dataset.light = light;
    document.cookie = `wetmount_light=${light}; path=/; max-age=34560000; samesite=strict`;
    lamp.setAttribute("aria-pressed", light === "microscope");
    lamp.value = light === "microscope" ? "bench" : "microscope";
  });

  // Undo by key, where no text is being typed.
  addEventListener("keydown", event => {
    const typing = event.target.closest("input, textarea, select, [contenteditable]");
    if (typing || event.ctrlKey || event.metaKey || event.altKey || event.key.toLowerCase() !== "z") return;
    document.querySelector(".tray .undo:not([disabled])")?.click();
  });

  // A lost connection is said, once, in words; what keeps entries meanwhile adds its count to the sentence.
  const line = document.getElementById("connection");
  let waiting = null;
  const lost = () => {
    if (!line) return;
    line.hidden = false;
    waiting ??= setInterval(ask, 3000);
  };
  const back = () => {
    if (line) line.hidden = true;
    clearInterval(waiting);
    waiting = null;
    document.dispatchEvent(new CustomEvent("wetmount:back"));
  };
  const ask = async () => {
    try {
      const answer = await fetch("/alive/", { cache: "no-store" });
      if (answer.ok) back();
    } catch { /* still away */ }
  };
  document.addEventListener("htmx:sendError", lost);
  document.addEventListener("wetmount:lost", lost);
  addEventListener("offline", lost);
  addEventListener("online", ask);
})();

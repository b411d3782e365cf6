// Print buttons of the round, which come in only when it is worked out.
(() => {
  const show = () => { for (const button of document.querySelectorAll("[data-print]")) button.hidden = false; };
  document.addEventListener("click", event => { if (event.target.closest("[data-print]")) print(); });
  document.addEventListener("htmx:load", show);
  show();
})();

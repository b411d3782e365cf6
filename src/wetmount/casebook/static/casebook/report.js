// Copies the message. Without a secure context there is no clipboard to write to, so the text is marked and the
// browser's own copy is asked for; where that is refused too, the marked text is left to be copied by hand.
(() => {
  const button = document.getElementById("copy");
  const text = document.getElementById("message");
  const told = document.getElementById("copied");
  if (!button || !text) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    text.focus();
    text.select();
    text.setSelectionRange(0, text.value.length);
    let copied = false;
    try { copied = document.execCommand("copy"); } catch { /* refused */ }
    if (!copied && navigator.clipboard) {
      try {
        await navigator.clipboard.writeText(text.value);
        copied = true;
      } catch { /* refused */ }
    }
    told.textContent = copied ? "Copied. Paste it where you write to the keeper." : "The text is marked: copy it by hand.";
  });
})();

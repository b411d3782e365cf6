// The fish room: the slider asks for the room on another day, and contacts are drawn like pipework along the gaps.
(() => {
  const form = document.querySelector(".slider");
  if (!form) return;
  const slider = form.querySelector("#day"), said = form.querySelector("#day-said");
  const map = () => document.getElementById("map");
  const months = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
  slider.disabled = false;

  const dateOf = n => {
    const [year, month, day] = form.dataset.first.split("-").map(Number);
    return new Date(Date.UTC(year, month - 1, day + n));
  };

  function draw() {
    const links = document.querySelector(".links");
    if (!links) return;
    const box = links.getBoundingClientRect();
    const place = element => {
      const r = element.getBoundingClientRect();
      return { x: r.x - box.x + r.width / 2, y: r.y - box.y, left: element.closest(".rack").getBoundingClientRect().x - box.x };
    };
    [...links.querySelectorAll("path")].forEach((path, i) => {
      const [from, to] = [path.dataset.from, path.dataset.to].map(id => document.getElementById(id));
      path.toggleAttribute("hidden", !from || !to);
      if (!from || !to) return;
      // Out by the top of one tank, along the gap, down beside the rack if need be, in by the top of the other.
      const a = place(from), b = place(to), lane = 5 + (i % 4) * 4;
      const ya = a.y - lane, yb = b.y - lane, side = Math.min(a.left, b.left) - lane + 2;
      const turn = Math.abs(ya - yb) < 2 ? "" : `H${side}V${yb}`;
      path.setAttribute("d", `M${a.x + 9} ${a.y}V${ya}${turn}H${b.x - 9}V${b.y + 2}`);
    });
  }

  // Step links and the slider's words follow the day that is shown.
  function step(n) {
    for (const link of form.querySelectorAll("[data-step]")) {
      const other = n + Number(link.dataset.step);
      if (other < 0 || other > Number(slider.max)) { link.removeAttribute("href"); link.setAttribute("aria-disabled", "true"); link.setAttribute("role", "link"); }
      else { link.href = address(other); link.removeAttribute("aria-disabled"); link.removeAttribute("role"); }
    }
    const day = dateOf(n);
    said.value = `${day.getUTCDate()} ${months[day.getUTCMonth()]}`;
    slider.setAttribute("aria-valuetext", said.value);
  }

  function address(n) {
    const now = new URL(location.href).searchParams;
    const kept = ["tank", "condition"].filter(key => now.get(key)).map(key => `&${key}=${encodeURIComponent(now.get(key))}`);
    return `${form.dataset.here}?day=${dateOf(n).toISOString().slice(0, 10)}${kept.join("")}`;
  }

  let wanted = null, busy = false;
  async function show(url, keep) {
    wanted = [url, keep];
    if (busy) return;
    busy = true;
    while (wanted) {
      const [next, stay] = wanted;
      wanted = null;
      await htmx.ajax("GET", next, { target: "#map", select: "#map", swap: "outerHTML" });
      history.replaceState(null, "", stay ? next : next.split("#")[0]);
      draw();
    }
    busy = false;
  }

  const go = n => { step(n); show(address(n)); };
  slider.addEventListener("input", () => go(Number(slider.value)));
  form.addEventListener("click", event => {
    const link = event.target.closest("[data-step]");
    if (!link) return;
    event.preventDefault();
    const before = slider.value;
    slider.value = Number(slider.value) + Number(link.dataset.step);
    if (slider.value !== before) go(Number(slider.value));
  });
  form.addEventListener("submit", event => event.preventDefault());

  // A tank is chosen in place: the map stays where it is under the finger.
  document.addEventListener("click", async event => {
    const tank = event.target.closest("#map a.tank, #map .by-state a");
    if (!tank || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const id = tank.id;
    await show(tank.getAttribute("href").split("#")[0]);
    step(Number(slider.value));
    if (id) document.getElementById(id)?.focus({ preventScroll: true });
    const chosen = document.getElementById("chosen");
    const box = chosen?.getBoundingClientRect();
    if (box && box.top > innerHeight - 120) chosen.scrollIntoView({ block: "start" });
  });

  addEventListener("resize", draw);
  document.fonts?.ready.then(draw);
  draw();
})();

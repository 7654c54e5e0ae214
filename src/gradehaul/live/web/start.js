/* The start page: headlines one after the other, a new plan, a drawing that is dropped. */
(() => {
  const byId = (id) => document.getElementById(id);
  const say = (words) => { byId("said").textContent = words; };

  const link = (name) => `?plan=${encodeURIComponent(name)}`;

  async function headlines() {
    for (const place of document.querySelectorAll(".headline")) {
      try { place.textContent = (await Program.request(`headline${link(place.dataset.plan)}`)).headline; } catch (error) { place.textContent = error.message; }
    }
    document.documentElement.dataset.ready = "yes";
  }

  byId("new").addEventListener("submit", async (event) => {
    event.preventDefault();
    const body = { name: byId("new-name").value, layout: byId("new-layout").value, scale: byId("new-scale").value, unit: byId("new-unit").value };
    try {
      location.assign(link((await Program.post("new", body)).name));
    } catch (error) { say(error.message); }
  });

  // A drawing is imported when its scale is chosen, too

  const scale = byId("drawing-scale"), tell = (words) => { byId("drawing-said").textContent = words; };
  let chosen = null;

  function offer() {
    byId("import").disabled = !chosen || !scale.value;
    if (chosen) tell(scale.value ? `${chosen.name}, in scale ${scale.value}.` : `${chosen.name}: choose its scale.`);
  }

  function take(file) {
    if (chosen) scale.value = "";  // that of another drawing
    chosen = file;
    byId("open-drawn").hidden = byId("report").hidden = true;
    offer();
    scale.focus();
  }

  async function importDrawing() {
    const file = chosen, taken = scale.value;
    byId("import").disabled = true;
    tell(`Reading ${file.name} in scale ${taken} ...`);
    try {
      const query = `name=${encodeURIComponent(file.name)}&scale=${encodeURIComponent(taken)}`;
      const { name, report } = await Program.request(`drawing?${query}`, { method: "POST", body: file });
      const anchor = byId("open-drawn").querySelector("a");
      anchor.href = link(name);
      anchor.textContent = `Open ${name}`;
      byId("open-drawn").hidden = byId("report").hidden = false;
      byId("report").textContent = report;
      byId("no-plans")?.remove();
      tell(`${file.name} was read in scale ${taken} and is now the plan ${name}.`);
      anchor.focus();
    } catch (error) {
      tell(error.message);
      byId("import").disabled = false;
    }
  }

  const drop = byId("drop");
  drop.addEventListener("dragover", (event) => { event.preventDefault(); drop.classList.add("over"); });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) take(event.dataTransfer.files[0]);
  });
  byId("drawing").addEventListener("change", (event) => { if (event.target.files.length) take(event.target.files[0]); });
  scale.addEventListener("change", offer);
  byId("import").addEventListener("click", importDrawing);
  headlines();
})();

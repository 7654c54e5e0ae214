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

  async function take(file) {
    say(`Reading ${file.name} ...`);
    const scale = encodeURIComponent(byId("drawing-scale").value);
    try {
      const { name, report } = await Program.request(`drawing?name=${encodeURIComponent(file.name)}&scale=${scale}`, { method: "POST", body: file });
      const anchor = byId("open-drawn").querySelector("a");
      anchor.href = link(name);
      anchor.textContent = `Open ${name}`;
      byId("open-drawn").hidden = byId("report").hidden = false;
      byId("report").textContent = report;
      say("");
      anchor.focus();
    } catch (error) { say(error.message); }
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
  headlines();
})();

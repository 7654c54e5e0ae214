/* The live page: takes answers from the stream, has the trial answered, and writes on request. */
(() => {
  const byId = (id) => document.getElementById(id);
  const query = new URLSearchParams(location.search).get("plan");
  const plan = query === null ? "" : `plan=${encodeURIComponent(query)}&`;
  const page = sessionStorage.getItem("page") || Array.from(crypto.getRandomValues(new Uint8Array(12)), (n) => n.toString(16).padStart(2, "0")).join("");
  sessionStorage.setItem("page", page);
  let desk = null, waitingView = null, notes = [], answered = "";

  function say(words) {
    byId("said").textContent = words;
    delete byId("said").dataset.trial;
  }

  const state = (words) => { byId("state").textContent = words; };

  const request = (what, body) => Program.post(`${what}?${plan}`, body);

  // Trials

  let requesting = false, again = false;

  /* Has the trial answered; one that comes while another is on its way goes last. */
  async function decide() {
    byId("show-write").disabled = !desk.trial.writes;
    if (requesting) { again = true; return; }
    requesting = true;
    do {
      again = false;
      try { await request("trial", { page, trial: desk.trial.now }); } catch (error) { say(error.message); }
    } while (again);
    requesting = false;
  }

  // The stream

  const parts = {
    answer(part) {
      const before = desk ? desk.data : null;
      part.plan_view = before ? before.plan_view : null;
      part.heights = before ? keptHeights(before, part) : [];
      part.chances = null;
      part.films_may = before ? before.films_may : null;
      stale(false);
      byId("title").textContent = part.plan;
      if (!desk) begin(part);
      else desk.take(part);
      settle();
      showChanges(part);
      const aside = part.aside ? ` Put aside for them: ${part.aside}.` : "";
      answered = `${part.file}, ${desk.trial.empty ? "as saved" : "with your changes"}.${aside}`;
      state(`${answered} Calculating risks ...`);
      requestAnimationFrame(() => performance.mark("outcomes"));
      document.documentElement.dataset.answer = String(Number(document.documentElement.dataset.answer || 0) + 1);
    },
    view(part) {
      notes = part.notes;
      byId("plan-notes").textContent = notes.join(" ");
      desk.data.plan_view = part.plan_view;
      const text = JSON.stringify(part.plan_view);
      if (text !== waitingView) desk.planView.take(part.plan_view);
      waitingView = text;
      if (!part.plan_view) say(notes.join(" "));
    },
    heights(part) {
      desk.data.heights = part.heights;
      desk.refresh();
      document.documentElement.dataset.heights = document.documentElement.dataset.answer;
    },
    doubts({ doubts }) {
      doubted = doubts;
      showDoubts();
    },
    chances(part) {
      desk.data.chances = part.chances;
      desk.outcomes();
    },
    clearance({ words }) {  // comes when all risks are there
      state(answered);
      const line = byId("clearance");
      if (line.textContent !== words) line.textContent = words;
      line.hidden = !words;
    },
    film(part) {
      desk.data.films_may = part;
      byId("show-treat").hidden = false;
      document.documentElement.dataset.whole = document.documentElement.dataset.answer;
    },
    text: takeText,
    fault(part) {
      showFaults(part.lines, part.more);
      stale(true);
      state(desk ? "The file cannot be used now; below is the last answer." : "The file cannot be used.");
      document.documentElement.dataset.fault = String(Number(document.documentElement.dataset.fault || 0) + 1);
    },
    refused(part) {
      const [first, ...others] = part.lines;
      say(`This cannot be tried: ${first}${others.length ? ` There ${others.length > 1 ? `are ${others.length} more faults` : "is one more fault"}.` : ""}`);
      state("Your changes cannot be tried: the outcomes are of the last that could, or estimates.");
      byId("said").dataset.trial = "yes";  // holds until another trial is answered
    },
    closed() {
      stream.close();
      stale(true);
      state("The program has ended.");
    },
  };

  /* The stations of the document before, at their heights now, until their own part comes: a handle keeps its focus. */
  function keptHeights(before, now) {
    const track = (data) => JSON.stringify(data.routes.map((route) => [route.tracks, route.starts]));
    const same = track(before) === track(now);
    return before.heights.map((station) => ({
      ...station,
      height_m: now.trial.heights[station.key] ?? now.stated_heights[station.key] ?? station.height_m,
      changes: same ? station.changes : {},
    }));
  }

  function begin(data) {
    desk = Desk.start(data, {
      decide,
      run(now) { if (now && !byId("text-pane").hidden) nearTrack(now.route.tracks[Haulage.trackNumber(now.route, now.head, true)].id); },
    });
    desk.waitingWords = "…";
    desk.refresh();
    document.documentElement.dataset.ready = "yes";
    byId("show-write").disabled = !desk.trial.writes;
    if (!desk.trial.empty) decide();
  }

  function stale(is) {
    document.body.classList.toggle("stale", is);
    if (!is) showFaults([], 0);
  }

  let doubted = [];

  function showDoubts() {
    const list = byId("doubts"), lines = doubted.map((each) => `Look at this first: ${each}`);
    list.hidden = !lines.length;
    if (lines.join("\n") !== [...list.children].map((each) => each.textContent).join("\n")) list.replaceChildren(...lines.map(item));
  }

  function showChanges(part) {
    doubted = [...new Set([...part.doubts, ...doubted])];  // of readings at once, of all else in a part of their own
    showDoubts();
    const list = part.lost.length ? [`No longer in the plan, and left out: ${part.lost.join(", ")}`] : [];
    if (part.not_run.length) list.push(`Not judged, since no train can run its route: ${part.not_run.join(", ")}`);
    const lines = [...part.changes, ...list];
    if (lines.length) byId("changes").replaceChildren(...lines.map(item));
    if (byId("said").dataset.trial) say("");
  }

  function item(text) {
    const node = document.createElement("li");
    node.textContent = text;
    return node;
  }

  function showFaults(lines, more) {
    const list = byId("faults");
    list.hidden = !lines.length;
    list.replaceChildren(...lines.map(({ text, line, file }) => {
      if (!line) return item(text);
      const node = document.createElement("li"), button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.addEventListener("click", () => { openText(true); toLine(line); });
      node.append(button);
      node.dataset.file = file;
      return node;
    }));
    if (more) list.append(item(`and ${more} more`));
    marks.fault = new Set(lines.flatMap(({ line }) => (line ? [line] : [])));
    numberLines();
  }

  // The text

  const text = byId("text"), marks = { fault: new Set(), near: new Set() };
  let fileText = null, fileDigest = "", mine = "", sent = null, long = false;

  function takeText(part) {
    ({ digest: fileDigest, long } = part);
    const unsaved = fileText !== null && text.value !== fileText;
    fileText = part.text;
    byId("save-text").disabled = long;
    text.readOnly = long;
    if (unsaved && fileText === sent) { mine = fileDigest; return; }  // this page saved it, and typing went on
    if (unsaved && text.value !== fileText) {
      byId("text-state").textContent = "The file has changed on the disk, and so has this text: save is refused until you use the file's text.";
      return;
    }
    mine = fileDigest;
    if (text.value === fileText && !long) return;
    text.value = fileText;
    byId("text-state").textContent = long ? "This text is too long for the page: use your own editor." : "";
    numberLines();
  }

  function numberLines() {
    const count = text.value.split("\n").length, rows = [];
    for (let k = 1; k <= count; k++) {
      const row = document.createElement("span");
      row.textContent = `${k}\n`;
      if (marks.fault.has(k)) row.className = "fault";
      else if (marks.near.has(k)) row.className = "near";
      rows.push(row);
    }
    byId("numbers").replaceChildren(...rows);
    byId("numbers").scrollTop = text.scrollTop;
  }

  function toLine(line) {
    const lines = text.value.split("\n");
    const from = lines.slice(0, line - 1).reduce((sum, each) => sum + each.length + 1, 0);
    text.focus();
    text.setSelectionRange(from, from + (lines[line - 1] || "").length);
    text.scrollTop = Math.max(0, (text.scrollHeight / lines.length) * (line - 6));
  }

  /* Marks the lines of a line of track: its table's header and what stands below it. */
  function nearTrack(id) {
    const name = id.slice(0, id.lastIndexOf(":")), lines = text.value.split("\n");
    const heads = [`[line.${name}]`, `[line."${name}"]`, `[line.'${name}']`];
    const first = lines.findIndex((each) => heads.some((head) => each.trimStart().startsWith(head)));
    marks.near = new Set();
    if (first >= 0) {
      let last = first + 1;
      while (last < lines.length && !lines[last].startsWith("[")) last += 1;
      for (let k = first; k < last; k++) if (lines[k].trim()) marks.near.add(k + 1);
    }
    numberLines();
  }

  function openText(is) {
    byId("text-pane").hidden = !is;
    byId("show-text").setAttribute("aria-expanded", String(is));
    if (is) { numberLines(); text.focus(); } else byId("show-text").focus();
  }

  async function saveText() {
    if (long || text.value === fileText) return;
    const saved = sent = text.value;
    try {
      const { digest } = await request("save", { text: saved, digest: mine });
      mine = fileDigest = digest;
      fileText = saved;
      byId("text-state").textContent = "Saved.";
    } catch (error) {
      byId("text-state").textContent = error.message;
    }
  }

  text.addEventListener("input", numberLines);
  text.addEventListener("scroll", () => { byId("numbers").scrollTop = text.scrollTop; });
  byId("show-text").addEventListener("click", () => openText(byId("text-pane").hidden));
  byId("close-text").addEventListener("click", () => openText(false));
  byId("save-text").addEventListener("click", saveText);
  byId("revert-text").addEventListener("click", () => { text.value = fileText; mine = fileDigest; byId("text-state").textContent = ""; numberLines(); });
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      event.preventDefault();
      if (!byId("text-pane").hidden) saveText();
      else if (desk?.trial.writes) showDiff();
    }
    if (event.key === "Escape" && !byId("text-pane").hidden && !document.querySelector("dialog[open]")) openText(false);
  });
  document.querySelector("figure.plan").addEventListener("pointerdown", () => setTimeout(() => { if (desk && byId("film-track").value) nearTrack(byId("film-track").value); }));

  // Writing

  let offered = "", written = false;

  /* Ends the trial that was written as soon as the file is read with it: until then it is what holds. */
  function settle() {
    const { heights, rails } = desk.trial.now, { stated_heights: known, stated_rails: on } = desk.data;
    const same = Object.entries(heights).every(([key, height]) => Math.abs(known[key] - height) < 1e-6)
      && Object.entries(rails).every(([id, rail]) => (on[id] ?? "clean") === rail);
    if (!written || !same) return;
    written = false;
    desk.pinned = null;
    desk.trial.clear();
  }

  async function showDiff() {
    try {
      const { diff, digest } = await request("diff", { trial: desk.trial.now });
      offered = digest;
      byId("diff").replaceChildren(...diff.map((line) => {
        const row = document.createElement("span");
        row.className = line[0] === "+" ? "plus" : line[0] === "-" ? "minus" : "";
        row.textContent = `${line}\n`;
        return row;
      }));
      byId("write").disabled = !diff.length;
      byId("write-words").textContent = "These lines change; all others, and all comments, stay.";
      byId("write-dialog").showModal();
    } catch (error) {
      say(error.message);
    }
  }

  async function write() {
    try {
      await request("write", { trial: desk.trial.now, digest: offered });
      byId("write-dialog").close();
      written = true;
      say("Written.");
      settle();
    } catch (error) {
      byId("write-words").textContent = error.message;
      byId("write").disabled = true;
    }
  }

  async function copy() {
    try {
      const { name } = await request("copy", { trial: desk ? desk.trial.now : {}, name: byId("copy-name").value });
      byId("copy-dialog").close();
      say(`Saved as ${name}.`);
    } catch (error) {
      byId("copy-words").textContent = error.message;
    }
  }

  byId("show-write").addEventListener("click", showDiff);
  byId("write").addEventListener("click", write);
  byId("show-copy").addEventListener("click", () => { byId("copy-words").textContent = ""; byId("copy-dialog").showModal(); });
  byId("copy").addEventListener("click", copy);
  byId("copy-name").addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); copy(); } });
  byId("show-treat").addEventListener("click", () => {
    const may = desk.data.films_may;
    byId("treat-words").textContent = may ? may.words : "";
    byId("treat-take").hidden = !may || !Object.values(may.rails).some((rail) => rail !== "clean");
    byId("treat-dialog").showModal();
  });
  byId("treat-take").addEventListener("click", () => {
    byId("treat-dialog").close();
    desk.trial.change((trial) => { trial.rails = { ...desk.data.films_may.rails }; });
  });
  for (const button of document.querySelectorAll("dialog .close")) button.addEventListener("click", () => button.closest("dialog").close());

  // What is beside the drawings changes their room, not the window alone
  const figures = [document.querySelector("figure.plan"), byId("bench-section")];
  let lastSize = "";
  const room = new ResizeObserver(() => {
    const size = figures.map((each) => `${each.clientWidth} ${each.clientHeight}`).join();
    if (size === lastSize || !desk) return;
    lastSize = size;
    desk.workbench?.redraw();
    desk.planView.redraw();
  });
  for (const figure of figures) room.observe(figure);

  byId("bench-verdict").tabIndex = 0;  // a long one scrolls: by keyboard too
  const stream = new EventSource(`events?${plan}page=${page}`);
  let lost = false;
  stream.addEventListener("message", (event) => { const part = JSON.parse(event.data); parts[part.kind](part); });
  stream.addEventListener("open", () => {
    if (lost) state("The connection is back.");
    lost = false;
    if (desk && !desk.trial.empty) decide();
  });
  stream.addEventListener("error", () => {
    lost = true;
    stale(true);
    state("The program does not answer: it has ended, or the connection is lost.");
  });
})();

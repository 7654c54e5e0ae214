/* The desk: the plan as it is tried now, with its routes, outcomes, plan view, section and train held together. */
const Desk = (() => {
  const byId = (id) => document.getElementById(id);
  const FRAME = 12;

  /* `decide` is called with each trial that the hand has let go of, for whoever has the last word on it. */
  function start(data, { decide = () => {}, run = () => {}, pointed = null, refreshed = () => {} } = {}) {
    const desk = { data: null, units: null, stock: null, routes: [], conditions: [], on: "", pinned: null };
    let clicked = null, before = null, order = [], waiting = 0, later = 0, slowest = 0, planView = null, workbench = null;

    function take(document_) {
      for (const route of document_.routes) route.railhead.breaks = route.compensated.breaks;
      desk.data = document_;
      desk.units = UnitFormat.of(document_.units);
      desk.stock = Haulage.stockFrom(document_.stock);
    }

    function tryOut() {
      desk.routes = Trial.routesWith(desk.data, desk.trial.now);
      desk.conditions = Trial.conditions(desk.data, desk.trial.now)
        .map((each) => ({ ...each, routes: desk.routes.map((route) => Trial.routeOn(route, each)) }));
      const now = JSON.stringify(desk.trial.now.rails);
      if (now !== clicked || !desk.condition) desk.on = desk.conditions[0].name;
      clicked = now;
    }

    /* What the rails are taken to be, the same for the verdict, the section and the plan view. */
    Object.defineProperty(desk, "condition", { get: () => desk.conditions.find((each) => each.name === desk.on) });
    const showFilm = () => planView.film((id) => desk.condition.railOf(id) !== "clean");

    /* Whether the document at hand has the trial in it, so that what Python found for it holds. */
    const decided = () => JSON.stringify(desk.data.trial) === JSON.stringify(desk.trial.now) && before === null;

    function rows() {
      const { data: now, stock, trial, pinned } = desk;
      const of = (list, name, on) => (list || []).find((each) => each.name === name && each.on === on);
      const risk = (name, on) => {
        if (!decided()) return "";
        return of(now.chances, name, on)?.risk ?? (now.chances && !desk.waitingWords ? "" : desk.waitingWords);
      };
      const [judged, ...rest] = desk.conditions;
      const films = rest.filter((each) => now.everywhere.some(({ name }) => name === each.name));
      const own = workbench?.own, trains = own ? [...now.trains, own] : now.trains;
      const list = trains.map((named) => ({
        name: named.name,
        found: [judged, ...films].map((condition) => {
          const on = condition === judged ? "" : condition.name;
          const verdict = (decided() && of(now.verdicts, named.name, on)) || Outcomes.ofTrain(now, stock, condition, named);
          const was = pinned || !trial.empty ? of(pinned || now.stated_verdicts, named.name, on) : null;
          return verdict && { ...verdict, on, was, risk: named === own ? "" : risk(named.name, on) };
        }),
      }));
      if (before === null) order = worstFirst(list);  // while a hand moves, each train keeps its row
      const last = (row) => (order.includes(row.name) ? order.indexOf(row.name) : order.length);
      list.sort((a, b) => last(a) - last(b));
      return { was: pinned ? "pinned" : "was", names: [judged, ...films].map((each) => each.name), rows: list };
    }

    /* The names of trains, the worst first as they are judged, those alike in the plan's order; the reader's own last. */
    function worstFirst(list) {
      const kinds = desk.data.outcomes.worst_first;
      const rank = ({ name, found: [now] }) => (!name ? kinds.length : now ? kinds.indexOf(now.outcome) : -1);
      return [...list].sort((a, b) => rank(a) - rank(b)).map((row) => row.name);
    }

    function showOutcomes() {
      const table = byId("outcomes");
      if (!table) return;
      const spreads = byId("film-spreads");
      spreads.textContent = desk.data.film_spreads;
      spreads.hidden = !desk.routes.some((route) => route.conditions.some((own) => own.length > 1));
      Outcomes.show(table, desk.units, desk.data.outcomes, rows(), workbench?.chosen, (name) => workbench?.choose(name));
    }

    function showButtons() {
      for (const [id, can] of [["undo", desk.trial.canUndo], ["redo", desk.trial.canRedo]]) if (byId(id)) byId(id).disabled = !can;
      if (byId("pin")) byId("pin").setAttribute("aria-pressed", String(Boolean(desk.pinned)));
    }

    function refresh(whole) {
      waiting = 0;
      tryOut();
      if (workbench) workbench.take(whole);
      else if (whole) workbench = Workbench.start(desk);  // where the plan has a route and a locomotive by now
      if (whole) showFilm();
      showRailhead();
      if (whole) {
        showButtons();
        showTracks();
      }
      // while a hand moves, the selected train goes first where all of them take longer than a frame
      clearTimeout(later);
      if (whole || slowest < FRAME) {
        const begun = performance.now();
        showOutcomes();
        if (!whole) slowest = performance.now() - begun;
      } else later = setTimeout(showOutcomes, 50);
      refreshed(whole);
    }

    // Railheads by hand

    const height = (station) => desk.trial.now.heights[station.key] ?? desk.data.stated_heights[station.key] ?? station.height_m;

    desk.hand = {
      height,
      chosen(station) {
        if (byId("railhead-of")) byId("railhead-of").value = station.key;
        showRailhead();
      },
      grab() { before = desk.trial.copy(); },
      to(station, value) { desk.trial.move((trial) => { trial.heights[station.key] = Number(value.toFixed(9)); }); },
      drop() {
        const from = before;
        before = null;
        slowest = 0;
        if (from) desk.trial.change(() => {}, from);
      },
    };

    function showRailhead() {
      const choice = byId("railhead-of"), field = byId("railhead");
      if (!choice) return;
      const stations = desk.data.heights, chosen = choice.value;
      const called = Handles.names(desk.data, desk.units);
      if (choice.options.length !== stations.length || [...choice.options].some((each) => each.text !== called.get(each.value))) {
        choice.replaceChildren(...stations.map((each) => new Option(called.get(each.key), each.key)));
        if (stations.some((each) => each.key === chosen)) choice.value = chosen;
      }
      byId("railhead-row").hidden = !stations.length;
      const station = stations.find((each) => each.key === choice.value);
      if (!station) return;
      const unit = desk.units.lengthUnit;
      byId("railhead-unit").textContent = unit.name;
      if (document.activeElement !== field) field.value = String(Number(desk.units.converted(height(station), unit).toFixed(4)));
    }

    function typed() {
      const station = desk.data.heights.find((each) => each.key === byId("railhead-of").value);
      const unit = desk.units.lengthUnit, field = byId("railhead"), value = UnitFormat.typed(field.value, unit);
      field.setCustomValidity(value === null ? `This is no height: write a figure in ${unit.name}, such as 3.5 or 3 1/2` : "");
      if (!station || !field.reportValidity()) return;
      desk.trial.change((trial) => { trial.heights[station.key] = Number(((value * unit.times) / unit.parts).toFixed(9)); });
    }

    // Film by click

    function toggle(id) {
      if (!desk.data.films.length) return;
      const film = Trial.railOf(desk.data, desk.trial.now, id) === "clean" ? desk.data.films[0] : "clean";
      desk.trial.change((trial) => {
        const stated = desk.data.stated_rails[id];
        if (film === (stated ?? "clean") && !(film === "clean" && stated === "clean")) delete trial.rails[id];
        else trial.rails[id] = film;
      });
    }

    function showTracks() {
      const choice = byId("film-track");
      if (!choice) return;
      byId("film-row").hidden = !desk.data.films.length;
      const tracks = new Map();
      for (const route of desk.data.routes) for (const track of route.tracks) tracks.set(track.id, track.name);
      if (choice.options.length !== tracks.size || [...choice.options].some((each) => !tracks.has(each.value))) {
        const chosen = choice.value;
        choice.replaceChildren(...[...tracks].map(([id, name]) => new Option(name, id)));
        if (tracks.has(chosen)) choice.value = chosen;
      }
      const rail = Trial.railOf(desk.data, desk.trial.now, choice.value);
      const age = byId("film-age");
      if (age && document.activeElement !== age) age.value = desk.trial.now.hours ?? "";
      byId("film-toggle").textContent = rail === "clean" ? `Put film ${desk.data.films.length > 1 ? `${desk.data.films[0]} ` : ""}on` : "Keep clean";
    }

    // Wiring

    take(data);
    desk.waitingWords = "";
    desk.trial = Trial.start((done) => {
      if (!done) {
        waiting ||= requestAnimationFrame(() => refresh(false));
        return;
      }
      if (waiting) cancelAnimationFrame(waiting);
      refresh(true);
      decide(desk.trial.now);
    });
    tryOut();
    desk.run = (running) => { planView.run(running); run(running); };
    planView = PlanView.start(desk.data, desk.units, (place, chosen) => {
      if (chosen && byId("click-films")?.checked) {
        if (byId("film-track")) byId("film-track").value = place.track;
        toggle(place.track);
      } else if (pointed) pointed(place, chosen);
      else if (chosen) for (const [route, at] of Places.on(desk.routes, place.track, place.along)) workbench?.push(route, at);
      planView.mark(place);
    });
    workbench = Workbench.start(desk);

    byId("train-form")?.addEventListener("submit", (event) => event.preventDefault());
    byId("railhead-of")?.addEventListener("change", showRailhead);
    byId("railhead")?.addEventListener("change", typed);
    byId("film-age")?.addEventListener("change", ({ target }) => {
      const hours = target.value === "" ? null : target.valueAsNumber;
      if (hours === null || hours >= 0) desk.trial.change((trial) => { trial.hours = hours; });
    });
    byId("film-track")?.addEventListener("change", showTracks);
    byId("film-toggle")?.addEventListener("click", () => toggle(byId("film-track").value));
    byId("film-track")?.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); toggle(event.target.value); } });
    byId("undo")?.addEventListener("click", () => desk.trial.undo());
    byId("redo")?.addEventListener("click", () => desk.trial.redo());
    byId("pin")?.addEventListener("click", () => {
      desk.pinned = desk.pinned ? null : rows().rows.flatMap(({ found }) => found.filter((each) => each));
      showOutcomes();
      showButtons();
    });
    document.addEventListener("keydown", (event) => {
      if (!(event.ctrlKey || event.metaKey) || event.altKey || /^(textarea|input)$/i.test(event.target.tagName)) return;
      const key = event.key.toLowerCase();
      if (key === "z" && !event.shiftKey) desk.trial.undo();
      else if (key === "y" || (key === "z" && event.shiftKey)) desk.trial.redo();
      else return;
      event.preventDefault();
    });

    Object.assign(desk, {
      planView, showFilm,
      /* Takes another document in the place of the one at hand; a hand that moves keeps hold. */
      take(document_) {
        take(document_);
        refresh(true);
      },
      refresh: () => refresh(true),
      outcomes: showOutcomes,
    });
    Object.defineProperty(desk, "workbench", { get: () => workbench });
    refresh(true);
    return desk;
  }

  return { start };
})();

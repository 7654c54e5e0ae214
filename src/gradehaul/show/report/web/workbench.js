/* A train that the reader makes up and pushes along a route. */
const Workbench = (() => {
  const byId = (id) => document.getElementById(id);

  function start(desk) {
    let { data, stock, units, routes } = desk;
    if (!byId("workbench") || !routes.length || !stock.powers.size) return null;
    const state = { route: routes[0], consist: [], together: null, head: 0, named: "", own: false };
    let drawn = null, drawnOf = "", train = null, verdict = null;
    const figure = byId("bench-section");
    const zoom = Zoom.start(figure, {
      length: () => Haulage.stop(state.route.compensated),
      units: () => units,
      redraw() { if (verdict) { draw(); drawn.mark(state.head); } },
      placeAt: (event) => (drawn ? drawn.placeAt(event.clientX) : 0),
      point(event) { if (verdict && drawn) push(within(drawn.placeAt(event.clientX))); },
      marked: () => (verdict ? state.head : null),
      holds: (event) => drawn && Math.abs(event.clientX - drawn.across(state.head)) < 14,
      changed: remember,
    });
    const handles = Handles.start(figure, units, desk.hand, zoom.follow);

    // Making up

    function begin(named) {
      const own = data.trains.find((each) => each.name === named);
      Object.assign(state, { named: own ? named : "", own: !own });
      if (own) {
        state.consist = own.consist.map((cut) => ({ ...cut }));
        state.together = own.together;
        state.route = hardest(routes.filter((route) => route.whole === own.route)) || state.route;
      } else {
        state.consist = [{ name: [...stock.powers.keys()][0], count: 1 }];
        if (stock.cars.size) state.consist.push({ name: [...stock.cars.keys()][0], count: 3 });
        state.together = null;
      }
    }

    const madeUpFor = (route) => Haulage.madeUp(stock, state.consist, state.together, route.run_rounds, route.run_rounds_turn);

    /* A route with the rails that are shown. */
    const onRails = (route) => desk.condition.routes[routes.indexOf(route)];

    /* What becomes of the train on a route, on the rail condition that is the worst for it of those shown. */
    function judge(route) {
      const verdicts = desk.condition.rails.map((rail) => ({ rail, ...Haulage.judge(onRails(route), madeUpFor(route), rail) }));
      return Outcomes.worst(data.outcomes, verdicts.map((each) => ({ ...each, spare_n: each.spare })));
    }

    /* Of the legs of a route, the one that leaves a train least to spare. */
    function hardest(legs) {
      const judged = legs.map((leg) => [leg, legs.length > 1 ? judge(leg).spare : 0]);
      return judged.length ? judged.reduce((worst, each) => (each[1] < worst[1] ? each : worst))[0] : null;
    }

    /* What becomes of the train on every leg of its whole route. */
    const onEveryLeg = () => routes.filter((route) => route.whole === state.route.whole)
      .map((leg) => (leg === state.route ? verdict : judge(leg)).outcome);

    function showRow(cut, number) {
      const item = document.createElement("li");
      const choose = document.createElement("select");
      choose.setAttribute("aria-label", `Vehicle ${number + 1} from the head`);
      for (const [words, list] of [["Locomotives", stock.powers], ["Cars", stock.cars]]) {
        if (!list.size) continue;
        const group = document.createElement("optgroup");
        group.label = words;
        for (const name of list.keys()) group.append(new Option(name, name, false, name === cut.name));
        choose.append(group);
      }
      choose.addEventListener("change", () => { cut.name = choose.value; changed(); });
      const count = document.createElement("input");
      Object.assign(count, { type: "number", min: 1, max: 999, step: 1, value: cut.count, inputMode: "numeric" });
      count.setAttribute("aria-label", `How many of vehicle ${number + 1}`);
      count.addEventListener("input", () => {
        const wanted = Math.round(Number(count.value));
        if (wanted >= 1 && wanted <= 999) { cut.count = wanted; changed(false); }
      });
      count.addEventListener("change", () => { count.value = cut.count; });
      const move = (words, sign, by) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = sign;
        button.setAttribute("aria-label", `${words}: ${cut.name}`);
        const to = number + by;
        button.disabled = by !== 0 ? to < 0 || to >= state.consist.length : state.consist.length < 2;
        button.addEventListener("click", () => {
          state.consist.splice(number, 1);
          if (by) state.consist.splice(to, 0, cut);
          changed();
          const rows = byId("consist").children;
          const row = rows[Math.min(by ? to : number, rows.length - 1)];
          const same = [...row.querySelectorAll("button")].find((each) => each.textContent === sign && !each.disabled);
          (same || row.querySelector("select")).focus();
        });
        return button;
      };
      item.append(count, choose, move("Nearer the head", "\u2191", -1), move("Nearer the tail", "\u2193", 1), move("Take out", "\u00d7", 0));
      return item;
    }

    function add(list) {
      const kinds = list.size ? [...list.keys()] : [];
      if (!kinds.length) return;
      state.consist.push({ name: kinds[0], count: 1 });
      changed();
      byId("consist").lastElementChild.querySelector("select").focus();
    }

    // Judging

    function changed(rows = true) {
      state.own = true;
      compose(rows);
      remember();
    }

    /* Keeps the train that is looked at in the address, and shows it among the others. */
    function remember() {
      const { named, own, consist, together } = state;
      desk.trial.look = { named, own, route: state.route.name, rail: desk.on, consist, together, ...(zoom.stretch && { stretch: zoom.stretch.map((place) => +place.toFixed(3)) }) };
      desk.outcomes();
    }

    /* Shows the train that the address keeps, as far as the plan still has it. */
    function recall(look) {
      begin(look.named);
      choice.value = data.trains.some((each) => each.name === look.named) ? look.named : "";
      const known = look.consist.every((cut) => stock.cars.has(cut.name) || stock.powers.has(cut.name));
      if (look.own && known) Object.assign(state, { own: true, consist: look.consist.map(({ name, count }) => ({ name, count })), together: look.together > 0 ? look.together : null });
      state.route = routes.find((route) => route.name === look.route) || state.route;
      if (desk.conditions.some((each) => each.name === look.rail)) desk.on = look.rail;
      if (state.route.name === look.route) zoom.take(look.stretch);
      drawnOf = look.route;
    }

    function compose(rows = true) {
      const room = LongSection.roomOf(figure);
      if (rows) byId("consist").replaceChildren(...state.consist.map(showRow));
      const powered = state.consist.filter((cut) => !stock.cars.has(cut.name));
      const locos = powered.reduce((sum, cut) => sum + cut.count * stock.powers.get(cut.name).locos.length, 0);
      byId("bench-route").value = state.route.name;
      fillRails();
      byId("together-row").hidden = locos < 2;
      train = madeUpFor(state.route);
      if (document.activeElement !== byId("together")) byId("together").value = +(100 * train.together).toPrecision(6);
      byId("bench-result").hidden = !locos;
      if (!locos) {
        verdict = null;
        showVerdict("cannot run", ["A train needs a locomotive: add one."], "none");
        byId("bench-facts").textContent = "";
        desk.run(null);
        return;
      }
      verdict = judge(state.route);
      const misfits = Haulage.misfits(state.route, stock, state.consist, state.together);
      const legs = onEveryLeg();
      const outcome = Words.worst(data.outcomes, [...legs, ...(misfits.length ? ["too long"] : [])]);
      const sentences = Words.verdict(state.route, units, verdict, misfits, data.outcomes);
      if (legs.length > 1) {
        const byLeg = legs.map((each, k) => `leg ${k + 1} ${each}`).join(", ");
        sentences.push(`Of the legs of ${Words.name(state.route.whole)}: ${byLeg}.`);
      }
      const uphill = Haulage.goesUp(routes.filter((route) => route.whole === state.route.whole));
      showVerdict(Words.shown(outcome, uphill), sentences, outcome.replace(" ", "-"));
      byId("bench-facts").textContent =
        `${units.length(train.length)} long over couplers. Pull ${Words.basis(verdict)}.${verdict.rail === desk.on ? "" : ` Judged on rail ${verdict.rail.replace("planned fresh", "planned (fresh)")}: fresh or rested, whichever is worse.`}`;
      draw(room.width ? room : null);
      setSlider();
      push(within(state.head));
    }

    /* The places that the head can be at, and the nearest of them to a place. */
    const whole = () => [Haulage.start(verdict.need.running), Haulage.stop(verdict.need.running)];
    const within = (place) => Math.min(Math.max(place, whole()[0]), whole()[1]);

    function showVerdict(outcome, sentences, cls) {
      const word = document.createElement("strong");
      word.className = `outcome ${cls}`;
      word.textContent = outcome;
      const on = document.createElement("em");
      on.className = "on";
      on.textContent = Words.on(desk.on);
      byId("bench-verdict").replaceChildren(word, " ", on, ": ", sentences.join(" "));
    }

    // Pushing along

    function setSlider() {
      const slider = byId("bench-head"), [from, to] = whole();
      slider.min = 0;
      slider.max = 1000;
      slider.step = 1;
      slider.disabled = !(to > from);
    }

    function draw(room = null) {
      zoom.take(state.route.name === drawnOf ? zoom.stretch : null);  // the route may have another length by now
      drawnOf = state.route.name;
      const clean = verdict.rail === "clean";
      const lines = [{ ...verdict.given, cls: clean ? "on-clean" : "on-film" }];
      if (!clean) lines.unshift({ ...Haulage.supply(state.route, train, "clean"), cls: "on-clean" });
      const key = byId("bench-key");
      key.querySelector(".film-key").hidden = clean;
      key.querySelector(".film-name").textContent = desk.on;
      drawn = LongSection.draw(byId("bench-section"), onRails(state.route), units, {
        train: { train, verdict, need: verdict.need, lines },
        rail: verdict.rail,
        on: desk.on,
        stretch: zoom.stretch,
        room,
        title: `Long section of ${Words.kind(state.route)} ${state.route.name} with the train on it and its pull`,
      });
      handles.place(drawn, state.route, data);
    }

    function push(head) {
      state.head = head;
      const slider = byId("bench-head"), [from, to] = whole();
      slider.value = to > from ? Math.round((1000 * (head - from)) / (to - from)) : 0;
      const run = Haulage.at(verdict.need.running, head), startUp = Haulage.at(verdict.need.starting, head);
      const standing = Haulage.pullAt(verdict.given.standing, head), slipping = Haulage.pullAt(verdict.given.slipping, head);
      const track = head === verdict.spareAt ? verdict.spareTrack : Haulage.trackAt(state.route, head, true);
      const figures = {
        "at-place": `${units.length(head)}, on ${Words.name(track)}`,
        "at-run": units.force(run),
        "at-start": units.force(startUp),
        "at-stand": units.force(standing),
        "at-slip": units.force(slipping),
        "at-spare": units.force(Haulage.spareAt(verdict, head)),
      };
      for (const [id, text] of Object.entries(figures)) byId(id).textContent = text;
      const lies = (stretches) => stretches.some(([start, end]) => head >= start && head <= end);
      const [cls, does] = lies(verdict.stalling) ? ["stalls", "stalls here"]
        : lies(verdict.runningAway) ? ["runs-away", "runs away here: the cars push the locomotives"]
        : lies(verdict.noStopping) ? ["marginal", "would not start again here"]
        : lies(verdict.noRecovery) ? ["marginal", "would not recover from a slip here"]
        : ["climbs", "gets through here, starts again and recovers from a slip"];
      byId("at-does").textContent = does;
      byId("at-does").className = cls;
      slider.setAttribute("aria-valuetext", `head at ${figures["at-place"]}: needs ${figures["at-run"]}, pulls ${figures["at-stand"]}; ${does}`);
      drawn.mark(head);
      desk.run({ route: state.route, train, head, verdict });
    }

    /* Puts the head at a place and shows it there, wherever the section was. */
    function goTo(place) {
      push(within(place));
      zoom.follow(state.head);
    }

    // Wiring

    const choice = byId("bench-from");
    /* Fills the lists to choose from; what is chosen stays, where it is still there. */
    function fillLists() {
      const own = new Option("a train of my own", "", false, !data.trains.length);
      choice.replaceChildren(own, ...data.trains.map((named) => new Option(named.name, named.name)));
      byId("bench-route").replaceChildren(...routes.map((route) => new Option(route.name, route.name)));
      byId("add-car").disabled = !stock.cars.size;
    }

    function fillRails() {
      const list = byId("bench-rail"), names = desk.conditions.map((each) => each.name);
      if (names.join() !== [...list.options].map((each) => each.value).join()) list.replaceChildren(...names.map((name) => new Option(name, name)));
      list.value = desk.on;
    }

    fillLists();
    choice.addEventListener("change", () => { begin(choice.value); state.head = 0; compose(); remember(); });
    byId("bench-route").addEventListener("change", (event) => {
      state.route = routes.find((route) => route.name === event.target.value);
      state.head = 0;
      compose();
      remember();
    });
    byId("bench-rail").addEventListener("change", (event) => { desk.on = event.target.value; compose(); if (verdict) goTo(verdict.failsAt); desk.showFilm(); remember(); });
    byId("add-loco").addEventListener("click", () => add(stock.powers));
    byId("add-car").addEventListener("click", () => add(stock.cars));
    byId("together").addEventListener("input", (event) => {
      const share = Number(event.target.value);
      if (event.target.value === "") state.together = null;
      else if (share > 0 && share <= 100) state.together = share / 100;
      changed(false);
    });
    byId("bench-head").addEventListener("input", (event) => {
      if (!verdict) return;
      const [from, to] = whole();
      goTo(from + ((to - from) * Number(event.target.value)) / 1000);
    });
    let playing = 0;

    /* Runs the train from end to end in some seconds, and stops where it is pressed again. */
    function play() {
      const button = byId("play");
      if (playing || !verdict) {
        cancelAnimationFrame(playing);
        playing = 0;
        button.textContent = "Play";
        return;
      }
      button.textContent = "Stop";
      const from = state.head >= whole()[1] - 1e-6 ? whole()[0] : state.head, begun = performance.now();
      const step = (now) => {
        if (!verdict) return play();
        const [first, last] = whole();
        const head = from + ((last - first) * Math.max(now - begun, 0)) / 12000;
        goTo(head);
        playing = head < last ? requestAnimationFrame(step) : 0;
        if (!playing) button.textContent = "Play";
        return undefined;
      };
      playing = requestAnimationFrame(step);
    }

    byId("play").addEventListener("click", play);
    byId("to-worst").addEventListener("click", () => { if (verdict) goTo(verdict.spareAt); });
    const first = data.trains.find((each) => routes.some((route) => route.whole === each.route));
    begin(first ? first.name : "");
    choice.value = first ? first.name : "";
    if (desk.trial.look) recall(desk.trial.look);
    compose();
    if (verdict) push(verdict.failsAt);

    return {
      /* Puts the head at a place of a route shown elsewhere, where it is this route. */
      push(route, place) {
        if (verdict && route === state.route) goTo(place);
      },
      redraw() { if (verdict) { draw(); push(state.head); } },
      get chosen() { return state.own ? "" : state.named; },
      /* The train that the reader made up, null where it is one of the plan's or has no locomotive. */
      get own() {
        const { consist, together, route } = state;
        return state.own && verdict ? { name: "", route: route.whole, consist, together } : null;
      },
      choose(name) {
        if (name === this.chosen) return;
        begin(name);
        choice.value = name;
        state.head = 0;
        compose();
        if (verdict) goTo(verdict.failsAt);
        remember();
      },
      /* Takes what has changed on the desk: the routes alone while a hand moves, else the whole document. */
      take(whole) {
        const before = state.route.name;
        ({ data, stock, units, routes } = desk);
        state.route = routes.find((route) => route.name === before) || routes[0];
        if (whole) {
          fillLists();
          const known = (cut) => stock.cars.has(cut.name) || stock.powers.has(cut.name);
          if (!state.own || !state.consist.every(known)) {
            const { route } = state, named = data.trains.some((each) => each.name === state.named) ? state.named : "";
            begin(named);
            choice.value = named;
            if (named) state.route = route;
          }
        }
        if (whole) byId("bench-route").value = state.route.name;
        compose(whole);
      },
    };
  }

  return { start };
})();

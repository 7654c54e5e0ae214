/* Changes that are tried, railheads and films: what they do to the routes, undo and redo, and their place in the
   address. Python has the last word: its next document has the changes in it. */
const Trial = (() => {
  const NEAR = 1e-12;

  // What changes do to a route

  const level = (width) => ({ breaks: [0, width], values: [0], slopes: [0], seconds: [0] });

  function reversed(f) {
    const last = f.values.length - 1, end = f.breaks[last + 1];
    const breaks = [], values = [], slopes = [], seconds = [];
    for (let k = last; k >= 0; k--) {
      const width = f.breaks[k + 1] - f.breaks[k];
      breaks.push(end - f.breaks[k + 1]);
      values.push(Haulage.endOf(f, k));
      slopes.push(-(f.slopes[k] + width * f.seconds[k]));
      seconds.push(f.seconds[k]);
    }
    breaks.push(end);
    return { breaks, values, slopes, seconds };
  }

  /* A function that is known track by track, along a route; null where it is zero all the way. */
  function along(route, byTrack) {
    if (!route.tracks.some((track) => byTrack.get(track.id))) return null;
    const breaks = [route.starts[0]], values = [], slopes = [], seconds = [];
    route.tracks.forEach((track, k) => {
      const [from, to] = [route.starts[k], route.starts[k + 1]];
      const own = byTrack.get(track.id);
      const f = own ? (track.forward ? own : reversed(own)) : level(to - from);
      for (let j = 0; j < f.values.length; j++) {
        breaks.push(j + 1 === f.values.length ? to : from + f.breaks[j + 1]);
        values.push(f.values[j]);
        slopes.push(f.slopes[j]);
        seconds.push(f.seconds[j]);
      }
    });
    return { breaks, values, slopes, seconds };
  }

  /* f and weighted others, with breaks that lie on one another taken once. */
  function plus(f, terms) {
    const all = [f, ...terms.map(([g]) => g)].flatMap((g) => Array.from(g.breaks)).sort((a, b) => a - b);
    const breaks = all.filter((place, k) => k === 0 || place - all[k - 1] > NEAR);
    const last = breaks.length - 1;
    breaks[last] = Haulage.stop(f);
    const values = [], slopes = [], seconds = [];
    const weighted = [[f, 1], ...terms], piece = weighted.map(() => 0);
    for (let k = 0; k < last; k++) {
      let value = 0, slope = 0, second = 0;
      weighted.forEach(([g, weight], n) => {
        while (piece[n] + 1 < g.values.length && g.breaks[piece[n] + 1] <= breaks[k] + NEAR) piece[n] += 1;
        const j = piece[n], t = breaks[k] - g.breaks[j];
        value += weight * (g.values[j] + t * (g.slopes[j] + 0.5 * t * g.seconds[j]));
        slope += weight * (g.slopes[j] + t * g.seconds[j]);
        second += weight * g.seconds[j];
      });
      values.push(value);
      slopes.push(slope);
      seconds.push(second);
    }
    return { breaks, values, slopes, seconds };
  }

  /* What is to be added to each route for heights that differ from those of the document. */
  function moves(data, heights) {
    return data.heights.flatMap((station) => {
      const wanted = heights[station.key] ?? data.stated_heights[station.key] ?? station.height_m;
      return Math.abs(wanted - station.height_m) > 1e-9 ? [[station, wanted - station.height_m]] : [];
    });
  }

  /* The changes of grade that moved stations make, track by track: one that several of them make is there once. */
  function bendsOf(stations) {
    const seen = new Map(), found = [];
    for (const { changes } of stations) {
      const own = new Map();
      for (const [id, { bend }] of Object.entries(changes)) {
        const key = bend && `${id} ${bend.values.map((value) => value.toFixed(9))} ${bend.breaks.map((at) => at.toFixed(9))}`;
        if (!bend || seen.has(key)) continue;
        seen.set(key, true);
        own.set(id, bend);
      }
      if (own.size) found.push(own);
    }
    return found;
  }

  /* A rail condition at the age of all film, where there is one. */
  const aged = (data, rail) => data.aged[rail] ?? rail;

  function railOf(data, trial, id) {
    return aged(data, trial.rails[id] ?? data.stated_rails[id] ?? "clean");
  }

  /* The conditions that each track may have, by its id: its own first, then films that wheels carry onto it. */
  function spread(data, trial) {
    const found = new Map(Object.keys(data.film_reach).map((id) => [id, new Set([railOf(data, trial, id)])]));
    for (const id of found.keys()) {
      const film = railOf(data, trial, id);
      if (film !== "clean") data.film_reach[id].forEach((other) => found.get(other).add(film));
    }
    return found;
  }

  /* The routes of a document with a trial's changes; a route that nothing changes is the document's own. */
  function routesWith(data, trial) {
    const may = spread(data, trial);
    const moved = moves(data, trial.heights), bends = bendsOf(moved.map(([station]) => station));
    function changed(route) {
      const terms = bends.map((byTrack) => [along(route, byTrack), 1]);
      for (const [station, by] of moved) {
        terms.push([along(route, new Map(Object.entries(station.changes).map(([id, change]) => [id, change.per_m]))), by]);
      }
      while (terms.some(([f]) => f === null)) terms.splice(terms.findIndex(([f]) => f === null), 1);
      const rails = route.tracks.map((track) => railOf(data, trial, track.id));
      const conditions = route.tracks.map((track) => [...may.get(track.id)]);
      const same = conditions.every((own, k) => own.join("\n") === route.conditions[k].join("\n"));
      if (!terms.length && same) return route;
      if (!terms.length) return { ...route, rails, conditions };
      const compensated = plus(route.compensated, terms), railhead = plus({ ...route.railhead, breaks: route.compensated.breaks }, terms);
      return { ...route, rails, conditions, compensated, railhead };
    }
    return data.routes.map((route) => {
      const now = changed(route), behind = route.behind.map(changed);
      return now === route && behind.every((each, k) => each === route.behind[k]) ? route : { ...now, behind };
    });
  }

  /* The rail conditions that the page can show, by which each train is judged at its worst: with the film that was
     clicked, if any was; as the plan is judged; clean; and with each film everywhere. `railOf` has the rail of a track. */
  function conditions(data, trial) {
    const found = [], clicked = Object.keys(trial.rails).length > 0;
    if (clicked) {
      const stated = new Set(Object.values({ ...data.stated_rails, ...trial.rails }).map((rail) => aged(data, rail)));
      const ages = [...stated].some((rail) => !stated.has(Haulage.firstDay(rail)));
      found.push({ name: "as clicked", rails: ages ? data.planned : data.planned.slice(0, 1), railOf: (id) => railOf(data, trial, id) });
    }
    const asStated = (id) => railOf(data, { rails: {} }, id);
    const planned = data.judged_rails.some((rail) => Haulage.PLANNED.includes(rail));
    found.push({ name: data.judged, rails: data.judged_rails, railOf: planned ? asStated : () => data.judged_rails[0] });
    if (data.judged !== "clean") found.push({ name: "clean", rails: ["clean"], railOf: () => "clean" });
    for (const { name, rails } of data.everywhere) found.push({ name, rails, railOf: () => rails[0] });
    return found;
  }

  /* A route with the rails of a condition. */
  const routeOn = (route, condition) => ({ ...route, rails: route.tracks.map((track) => condition.railOf(track.id)) });

  // Undo, redo, and the address

  const EMPTY = '{"heights":{},"rails":{},"hours":null}';
  const copy = (trial) => JSON.parse(JSON.stringify(trial));

  /* A trial from a text that may be anybody's; null where it is none. */
  function read(text) {
    try {
      const { heights = {}, rails = {}, hours = null } = JSON.parse(text);
      const good = Object.values(heights).every(Number.isFinite) && Object.values(rails).every((rail) => typeof rail === "string")
        && (hours === null || Number.isFinite(hours));
      return good ? { heights: { ...heights }, rails: { ...rails }, hours } : null;
    } catch {
      return null;
    }
  }

  /* What the address keeps: a text that may be anybody's, and perhaps none at all. */
  function fromAddress() {
    try {
      return decodeURIComponent(location.hash.slice(1));
    } catch {
      return "";
    }
  }

  /* The train that the address keeps; null where it keeps none. */
  function readLook(text) {
    try {
      const { look } = JSON.parse(text);
      const part = look?.stretch ?? [0, 1];
      const fine = look && Array.isArray(part) && part.length === 2 && part.every(Number.isFinite) && part[0] < part[1] && Array.isArray(look.consist) && look.consist.length < 200
        && look.consist.every(({ name, count }) => typeof name === "string" && Number.isInteger(count) && count > 0 && count < 1000);
      return fine ? look : null;
    } catch {
      return null;
    }
  }

  function start(changed) {
    let now = read(fromAddress()) || copy(JSON.parse(EMPTY)), look = readLook(fromAddress());
    const behind = [], ahead = [];

    function keep() {
      const text = JSON.stringify(look ? { ...now, look } : now);
      history.replaceState(null, "", text === EMPTY ? location.pathname + location.search : `#${encodeURIComponent(text)}`);
    }

    function to(next, done) {
      now = next;
      keep();
      changed(done);
    }

    return {
      get now() { return now; },
      get empty() { return JSON.stringify(now) === EMPTY; },
      /* Whether anything of it can be written: the age of film is not the plan's. */
      get writes() { return Object.keys({ ...now.heights, ...now.rails }).length > 0; },
      /* The train that is looked at, which the address keeps too but no undo touches. */
      get look() { return look; },
      set look(next) { look = next; keep(); },
      get canUndo() { return behind.length > 0; },
      get canRedo() { return ahead.length > 0; },
      /* Takes over a change; `before` is the trial before it, where the hand has been moving since. */
      change(make, before = copy(now)) {
        const next = copy(now);
        make(next);
        if (JSON.stringify(next) === JSON.stringify(before)) return;
        behind.push(before);
        ahead.length = 0;
        to(next, true);
      },
      /* A change under the hand, which is not one to undo yet. */
      move(make) {
        make(now);
        changed(false);
      },
      copy: () => copy(now),
      undo() { if (behind.length) { ahead.push(copy(now)); to(behind.pop(), true); } },
      redo() { if (ahead.length) { behind.push(copy(now)); to(ahead.pop(), true); } },
      /* Nothing is to be written any longer, and nothing is to be undone: the file has it. */
      clear() { behind.length = ahead.length = 0; to({ ...JSON.parse(EMPTY), hours: now.hours }, true); },
    };
  }

  return { start, routesWith, conditions, routeOn, railOf };
})();

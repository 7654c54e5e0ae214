/* The plan view: tracks where they lie, by the effective grade for a climbing train or by where the film may go, linked with
   the long sections. */
const PlanView = (() => {
  const { el, r, nice, numbers, Board, label, fitted } = Drawing;
  const HIGHEST = 460;
  const SPOTS = [[0, -9, "middle"], [0, 18, "middle"], [9, 4, "start"], [-9, 4, "end"], [8, -8, "start"], [-8, -8, "end"],
    [8, 15, "start"], [-8, 15, "end"], [0, -22, "middle"], [0, 31, "middle"]];

  function start(data, units, pointed) {
    const figure = document.querySelector("figure.plan");
    if (!figure) return { mark() {}, run() {}, redraw() {}, take() {}, film() {} };
    let { tracks, joints, overpasses } = data.plan_view || { tracks: [], joints: [], overpasses: [] };
    let byId = new Map(tracks.map((track) => [track.id, track]));
    let treated = (track) => track.treated;
    const choices = [...document.querySelectorAll("input[name=plan-shows]")];
    const showsFilm = () => choices.some((choice) => choice.checked && choice.value === "film");
    let view = null, marked = null, shown = null;

    /* Where a place on a track lies on the drawing, along it from its own start. */
    function spot(id, along) {
      if (!byId.has(id)) return null;
      const { at_m: at, xy_m: xy } = byId.get(id);
      let k = 1;
      while (k < at.length - 1 && at[k] < along) k += 1;
      const share = Math.min(Math.max((along - at[k - 1]) / (at[k] - at[k - 1] || 1), 0), 1);
      return {
        x: view.x(xy[2 * k - 2] + share * (xy[2 * k] - xy[2 * k - 2])),
        y: view.y(xy[2 * k - 1] + share * (xy[2 * k + 1] - xy[2 * k - 1])),
      };
    }

    function spotOn(route, place) {
      const number = Haulage.trackNumber(route, place, false);
      const track = route.tracks[number];
      return spot(track.id, track.forward ? place - route.starts[number] : route.starts[number + 1] - place);
    }

    /* A stretch of a route as a path. */
    function stretch(route, from, to, cls) {
      const steps = Math.max(2, Math.min(400, Math.ceil(((to - from) * view.scale) / 4)));
      const length = Haulage.stop(route.compensated), parts = [];
      let broken = true;
      for (let k = 0; k <= steps; k++) {
        let place = from + ((to - from) * k) / steps;
        if (place < 0 && route.lap) place += length * Math.ceil(-place / length);
        const here = place < 0 ? null : spotOn(route, place);
        if (here) parts.push(`${broken ? "M" : "L"}${r(here.x)} ${r(here.y)}`);
        broken = !here;
      }
      if (parts.length) view.over.append(el("path", { d: parts.join(""), class: cls }));
    }

    function draw() {
      const width = Math.max(280, Math.floor(figure.clientWidth || 640)), margin = width < 500 ? 26 : 44;
      let [left, right, low, high] = [Infinity, -Infinity, Infinity, -Infinity];
      for (const { xy_m: xy } of tracks) {
        for (let k = 0; k < xy.length; k += 2) {
          left = Math.min(left, xy[k]);
          right = Math.max(right, xy[k]);
          low = Math.min(low, xy[k + 1]);
          high = Math.max(high, xy[k + 1]);
        }
      }
      const wide = Math.max(right - left, 0.01), tall = Math.max(high - low, 0.01);
      const room = "fit" in figure.dataset ? Math.max(figure.clientHeight - 2 * margin - 34, 60) : HIGHEST;
      const scale = Math.min((width - 2 * margin) / wide, room / tall);
      const x = (value) => (width - scale * wide) / 2 + (value - left) * scale;
      const y = (value) => margin + (high - value) * scale;
      const height = 2 * margin + scale * tall + 34;
      const svg = el("svg", { role: "img", width, height, viewBox: `0 0 ${width} ${r(height)}`, class: "plan-view",
        "aria-label": showsFilm() ? "Plan view: where the film may go and which track stays clean"
          : "Plan view: tracks shaded by the effective grade of a climbing train" });
      const over = el("g"), dot = el("circle", { r: 6, class: "mark-dot", visibility: "hidden" });
      view = { svg, x, y, over, dot, width, scale };
      const board = new Board(2);

      // from the lowest up, with a rim where one passes over another
      for (const track of [...tracks].sort((a, b) => a.railhead_m - b.railhead_m)) {
        const points = track.at_m.map((_, k) => `${r(x(track.xy_m[2 * k]))} ${r(y(track.xy_m[2 * k + 1]))}`);
        for (const each of overpasses) if (each.track === track.id) svg.append(rim(track, each.at_m));
        for (const { use, from_m: from, to_m: to } of showsFilm() ? track.uses : []) {
          const d = part(track, from, to), cls = `use ${use.replace(" ", "-")}`;
          svg.append(el("path", { d, class: cls }), el("path", { d, class: `${cls} over` }));
        }
        if (showsFilm() && track.uses.length) continue;
        for (const [from, to] of runs(track.shades)) {
          svg.append(el("path", { d: `M${points.slice(from, to + 1).join("L")}`, class: `track shade-${track.shades[from]}` }));
        }
        if (treated(track)) svg.append(el("path", { d: `M${points.join("L")}`, class: "track-film" }));
      }
      for (const track of tracks) for (const [from, to] of runs(track.climbs)) svg.append(...uphill(track, from, to));
      const rails = tracks.flatMap(pointsAlong);
      const names = el("g");
      for (const joint of [...joints].sort((a, b) => a.plain - b.plain)) {
        const text = fitted(joint.name, 130, 11), [across, down] = [x(joint.x), y(joint.y)];
        if (!joint.plain) names.append(el("circle", { cx: r(across), cy: r(down), r: 2.5, class: "joint-dot" }));
        const spots = SPOTS.map(([dx, dy, anchor]) => [across + dx, down + dy, anchor]);
        const hidden = new Map(spots.map((each) => [each, covered(text, each, rails)]));
        spots.sort((a, b) => hidden.get(a) - hidden.get(b));
        for (const [left_, base, anchor] of spots) {
          if (label(names, board, text, left_, base, { anchor, size: 11, cls: "joint halo", room: [2, width - 2] })) break;
        }
      }
      svg.append(over, names, dot, scaleBar(width, height, scale, margin));
      figure.replaceChildren(svg);
    }

    /* A part of a track, between two places along it, as a path. */
    function part(track, from, to) {
      const ends = [spot(track.id, from), spot(track.id, to)].map((end) => `${r(end.x)} ${r(end.y)}`);
      const between = track.at_m.flatMap((at, k) =>
        (at > from && at < to ? [`${r(view.x(track.xy_m[2 * k]))} ${r(view.y(track.xy_m[2 * k + 1]))}`] : []));
      return `M${[ends[0], ...between, ends[1]].join("L")}`;
    }

    /* Where a list stays the same: pairs of the first place and that behind the last. */
    function runs(list) {
      const found = [];
      for (let k = 1, first = 0; k <= list.length; k++) {
        if (k < list.length && list[k] === list[first]) continue;
        found.push([first, k]);
        first = k;
      }
      return found;
    }

    /* What parts a track from the one it passes over. */
    function rim(track, at) {
      const reach = 9 / view.scale;
      const ends = [at - reach, at + reach].map((place) => spot(track.id, place));
      return el("path", { d: ends.map((end, k) => `${k ? "L" : "M"}${r(end.x)} ${r(end.y)}`).join(""), class: "rim" });
    }

    /* Points every few dots along a track, for labels to keep clear of. */
    function pointsAlong(track) {
      const { x, y } = view, found = [];
      for (let k = 1; k < track.at_m.length; k++) {
        const [ax, ay, bx, by] = track.xy_m.slice(2 * k - 2, 2 * k + 2);
        const [from, to] = [[x(ax), y(ay)], [x(bx), y(by)]];
        const steps = Math.max(1, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / 5));
        for (let j = 0; j < steps; j++) found.push([from[0] + ((to[0] - from[0]) * j) / steps, from[1] + ((to[1] - from[1]) * j) / steps]);
      }
      return found;
    }

    function covered(text, [across, base, anchor], rails) {
      const wide = Drawing.textWidth(text, 11);
      const left = anchor === "middle" ? across - wide / 2 : anchor === "end" ? across - wide : across;
      return rails.filter(([px, py]) => px > left - 2 && px < left + wide + 2 && py > base - 11 && py < base + 4).length;
    }

    /* An arrow uphill in the middle of a stretch that climbs one way, where there is room for one. */
    function uphill(track, from, to) {
      const length = track.at_m[to] - track.at_m[from];
      if (!track.climbs[from] || length * view.scale < 34) return [];
      const middle = 0.5 * (track.at_m[to] + track.at_m[from]), step = 3 / view.scale;
      const [a, here, b] = [middle - step, middle, middle + step].map((place) => spot(track.id, place));
      const turn = Math.atan2(b.y - a.y, b.x - a.x) + (track.climbs[from] > 0 ? 0 : Math.PI);
      return [el("path", { d: "M-5 -5L5 0L-5 5", class: "uphill",
        transform: `translate(${r(here.x)} ${r(here.y)}) rotate(${r((turn * 180) / Math.PI)})` })];
    }

    function scaleBar(width, height, scale, margin) {
      const unit = units.lengthUnit, each = (scale * unit.times) / unit.parts;
      const length = nice(0, (0.3 * width) / each, 2).pop();
      const left = margin, right = left + length * each, y = height - 22;
      return el("g", {},
        el("path", { d: `M${left} ${y - 4}V${y + 4}M${left} ${y}H${r(right)}M${r(right)} ${y - 4}V${y + 4}`, class: "scale-bar" }),
        el("text", { x: left, y: y + 17, "font-size": 11, class: "tick" }, `${numbers([length])[0]} ${unit.name}`));
    }

    function nearest(event) {
      const { svg, x, y, width } = view;
      const box = svg.getBoundingClientRect(), zoom = width / box.width;
      const px = (event.clientX - box.left) * zoom, py = (event.clientY - box.top) * zoom;
      let best = null, least = 30 ** 2;
      for (const track of tracks) {
        for (let k = 1; k < track.at_m.length; k++) {
          const ax = x(track.xy_m[2 * k - 2]), ay = y(track.xy_m[2 * k - 1]);
          const dx = x(track.xy_m[2 * k]) - ax, dy = y(track.xy_m[2 * k + 1]) - ay;
          const share = Math.min(Math.max(((px - ax) * dx + (py - ay) * dy) / (dx * dx + dy * dy || 1), 0), 1);
          const apart = (ax + share * dx - px) ** 2 + (ay + share * dy - py) ** 2;
          if (apart < least) {
            least = apart;
            best = { track: track.id, along: track.at_m[k - 1] + share * (track.at_m[k] - track.at_m[k - 1]) };
          }
        }
      }
      return best;
    }

    /* Marks a place on a track. */
    function mark(place) {
      marked = place;
      if (!view) return;
      const here = place && spot(place.track, place.along);
      view.dot.setAttribute("visibility", here ? "visible" : "hidden");
      if (!here) return;
      view.dot.setAttribute("cx", r(here.x));
      view.dot.setAttribute("cy", r(here.y));
    }

    /* Draws a train on its route, and where it must take care; none where it is null. */
    function run(running) {
      shown = running;
      if (!view) return;
      view.over.replaceChildren();
      const key = document.getElementById("plan-train-key");
      if (key) key.hidden = !running;
      if (!running) return;
      const { route, train, head, verdict } = running;
      const care = [["care stall", verdict.stalling], ["care away", verdict.runningAway]];
      if (!verdict.stalling.length) care.unshift(["care no-recovery", verdict.noRecovery], ["care no-stop", verdict.noStopping]);
      for (const item of key ? key.querySelectorAll("[data-care]") : []) {
        item.hidden = !care.some(([cls, stretches]) => cls === item.dataset.care && stretches.length);
      }
      for (const [cls, stretches] of care) for (const [from, to] of stretches) stretch(route, from, to, cls);
      train.blocks.forEach((block, k) => {
        stretch(route, head - train.edges[k + 1], head - train.edges[k], block.loco ? "block loco" : "block car");
      });
    }

    for (const choice of choices) {
      choice.addEventListener("change", () => {
        for (const part of document.querySelectorAll("[data-shows]")) part.hidden = part.dataset.shows !== choice.value;
        redraw();
      });
    }
    const point = (event) => {
      const found = view && nearest(event);
      if (found) pointed(found, event.type === "pointerdown");
    };
    function redraw() {
      if (!tracks.length) return;
      draw();
      mark(marked);
      run(shown);
    }

    figure.addEventListener("pointerdown", point);
    figure.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse") point(event); });
    if (tracks.length) draw();
    return {
      mark,
      run,
      redraw,
      /* Takes another plan view in the place of this one. */
      take(planView) {
        ({ tracks, joints, overpasses } = planView || { tracks: [], joints: [], overpasses: [] });
        byId = new Map(tracks.map((track) => [track.id, track]));
        if (tracks.length) redraw();
        else figure.replaceChildren();
      },
      /* Shows film on the tracks of which `has` says so, by their id. */
      film(has) {
        treated = (track) => has(track.id);
        redraw();
      },
    };
  }

  return { start };
})();

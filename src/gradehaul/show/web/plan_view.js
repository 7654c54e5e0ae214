/* The plan view: tracks where they lie, shaded by what they ask of a climbing train, linked with the long sections. */
const PlanView = (() => {
  const { el, r, nice, numbers, Board, label, fitted } = Drawing;
  const HIGHEST = 460;
  const SPOTS = [[0, -9, "middle"], [0, 18, "middle"], [9, 4, "start"], [-9, 4, "end"], [8, -8, "start"], [-8, -8, "end"],
    [8, 15, "start"], [-8, 15, "end"], [0, -22, "middle"], [0, 31, "middle"]];

  function start(data, teller, pointed) {
    const figures = [...document.querySelectorAll("figure.plan")];
    const frames = figures.length ? data.plan_view.frames : [];
    const home = new Map();
    frames.forEach((frame, number) => frame.tracks.forEach((track) => home.set(track.id, { track, number })));
    const views = frames.map(() => null);
    let marked = null, shown = null;

    /* Where a place on a track lies, along it from its own start. */
    function spot(id, along) {
      const found = home.get(id);
      if (!found) return null;
      const { at_m: at, xy_m: xy } = found.track;
      let k = 1;
      while (k < at.length - 1 && at[k] < along) k += 1;
      const share = Math.min(Math.max((along - at[k - 1]) / (at[k] - at[k - 1] || 1), 0), 1);
      return {
        number: found.number,
        x: xy[2 * k - 2] + share * (xy[2 * k] - xy[2 * k - 2]),
        y: xy[2 * k - 1] + share * (xy[2 * k + 1] - xy[2 * k - 1]),
      };
    }

    function spotOn(route, place) {
      const number = Haulage.trackNumber(route, place, false);
      const track = route.tracks[number];
      return spot(track.id, track.forward ? place - route.starts[number] : route.starts[number + 1] - place);
    }

    /* A stretch of a route as paths, one in each frame it touches. */
    function stretch(route, from, to, cls) {
      const steps = Math.max(2, Math.min(400, Math.ceil((to - from) / 0.04)));
      const parts = frames.map(() => []);
      let last = null;
      for (let k = 0; k <= steps; k++) {
        let place = from + ((to - from) * k) / steps;
        const length = Haulage.stop(route.effort);
        if (place < 0) { if (!route.lap) continue; place += length * Math.ceil(-place / length); }
        const here = spotOn(route, place);
        if (here && views[here.number]) {
          const { x, y } = views[here.number];
          parts[here.number].push(`${last === here.number ? "L" : "M"}${r(x(here.x))} ${r(y(here.y))}`);
        }
        last = here ? here.number : null;
      }
      parts.forEach((points, number) => {
        if (points.length) views[number].over.append(el("path", { d: points.join(""), class: cls }));
      });
    }

    function draw(number) {
      const frame = frames[number], figure = figures[number];
      const width = Math.max(280, Math.floor(figure.clientWidth || 640)), margin = width < 500 ? 26 : 44;
      const xs = frame.tracks.flatMap((track) => track.xy_m.filter((_, k) => k % 2 === 0));
      const ys = frame.tracks.flatMap((track) => track.xy_m.filter((_, k) => k % 2 === 1));
      const bounds = [xs, ys].map((all) => [all.reduce((a, b) => Math.min(a, b)), all.reduce((a, b) => Math.max(a, b))]);
      const [wide, tall] = bounds.map(([low, high]) => Math.max(high - low, 0.01));
      // pieces apart from the largest are drawn to its scale, where they are not larger
      const scale = Math.min((width - 2 * margin) / wide, HIGHEST / tall, number ? views[0].scale : Infinity);
      const left = (width - scale * wide) / 2;
      const x = (value) => left + (value - bounds[0][0]) * scale;
      const y = (value) => margin + (bounds[1][1] - value) * scale;
      const height = 2 * margin + scale * tall + (number ? 0 : 34);
      const svg = el("svg", { role: "img", width, height, viewBox: `0 0 ${width} ${r(height)}`, class: "plan-view",
        "aria-label": `Plan view${frames.length > 1 ? `, part ${number + 1}` : ""}: tracks shaded by the effective grade of a climbing train` });
      const board = new Board(2);

      // from the lowest up, each with a rim that parts it from what passes under it
      for (const track of [...frame.tracks].sort((a, b) => a.railhead_m - b.railhead_m)) {
        const points = track.at_m.map((_, k) => `${r(x(track.xy_m[2 * k]))} ${r(y(track.xy_m[2 * k + 1]))}`);
        const group = el("g");
        if (passesOver(track, frame.tracks)) group.append(el("path", { d: `M${points.join("L")}`, class: "rim" }));
        let k = 0;
        while (k < track.shades.length) {
          let end = k;
          while (end + 1 < track.shades.length && track.shades[end + 1] === track.shades[k]) end += 1;
          group.append(el("path", { d: `M${points.slice(k, end + 2).join("L")}`, class: `track shade-${track.shades[k]}` }));
          k = end + 1;
        }
        if (track.filmed) group.append(el("path", { d: `M${points.join("L")}`, class: "track-film" }));
        svg.append(group);
        const arrow = uphill(track, x, y, scale);
        if (arrow) svg.append(arrow);
      }
      const rails = frame.tracks.flatMap((track) => pointsAlong(track, x, y));
      const names = el("g");
      for (const joint of [...frame.joints].sort((a, b) => a.plain - b.plain)) {
        const text = fitted(joint.name, 130, 11), [across, down] = [x(joint.x), y(joint.y)];
        if (!joint.plain) names.append(el("circle", { cx: r(across), cy: r(down), r: 2.5, class: "joint-dot" }));
        const spots = SPOTS.map(([dx, dy, anchor]) => [across + dx, down + dy, anchor]);
        const hidden = new Map(spots.map((each) => [each, covered(text, each, rails)]));
        spots.sort((a, b) => hidden.get(a) - hidden.get(b));
        for (const [left_, base, anchor] of spots) {
          if (label(names, board, text, left_, base, { anchor, size: 11, cls: "joint halo", room: [2, width - 2] })) break;
        }
      }
      const over = el("g"), dot = el("circle", { r: 6, class: "mark-dot", visibility: "hidden" });
      svg.append(names, over, dot);
      if (!number) svg.append(scaleBar(width, height, scale, margin));
      figure.replaceChildren(svg);
      views[number] = { svg, x, y, over, dot, width, scale };
    }

    /* Whether a track passes over another somewhere, so that it needs a rim. */
    function passesOver(track, all) {
      const box = boxOf(track);
      return all.some((other) => {
        if (track.railhead_m - other.railhead_m < 2 * data.plan_view.gauge_m) return false;
        const low = boxOf(other);
        return box[0] <= low[2] && low[0] <= box[2] && box[1] <= low[3] && low[1] <= box[3];
      });
    }

    function boxOf(track) {
      if (!track.box) {
        const xs = track.xy_m.filter((_, k) => k % 2 === 0), ys = track.xy_m.filter((_, k) => k % 2 === 1);
        track.box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
      }
      return track.box;
    }

    /* Points every few dots along a track, for labels to keep clear of. */
    function pointsAlong(track, x, y) {
      const found = [];
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

    function uphill(track, x, y, scale) {
      if (!track.climbs || track.length_m * scale < 34 || !track.shades.some((shade) => shade > 0)) return null;
      const k = Math.floor(track.at_m.length / 2);
      const [ax, ay, bx, by] = track.xy_m.slice(2 * k - 2, 2 * k + 2);
      const turn = Math.atan2(y(by) - y(ay), x(bx) - x(ax)) + (track.climbs > 0 ? 0 : Math.PI);
      const at = [x(0.5 * (ax + bx)), y(0.5 * (ay + by))];
      return el("path", { d: "M-5 -5L5 0L-5 5", class: "uphill", transform: `translate(${r(at[0])} ${r(at[1])}) rotate(${r((turn * 180) / Math.PI)})` });
    }

    function scaleBar(width, height, scale, margin) {
      const unit = teller.lengthUnit, each = (scale * unit.times) / unit.parts;
      const length = nice(0, (0.3 * width) / each, 2).pop();
      const left = margin, right = left + length * each, y = height - 22;
      return el("g", {},
        el("path", { d: `M${left} ${y - 4}V${y + 4}M${left} ${y}H${r(right)}M${r(right)} ${y - 4}V${y + 4}`, class: "scale-bar" }),
        el("text", { x: left, y: y + 17, "font-size": 11, class: "tick" }, `${numbers([length])[0]} ${unit.name}`));
    }

    function nearest(number, event) {
      const { svg, x, y, width } = views[number];
      const box = svg.getBoundingClientRect(), zoom = width / box.width;
      const px = (event.clientX - box.left) * zoom, py = (event.clientY - box.top) * zoom;
      let best = null, least = 30 ** 2;
      for (const track of frames[number].tracks) {
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
      const here = place && spot(place.track, place.along);
      views.forEach((view, number) => {
        if (!view) return;
        const mine = here && here.number === number;
        view.dot.setAttribute("visibility", mine ? "visible" : "hidden");
        if (!mine) return;
        view.dot.setAttribute("cx", r(view.x(here.x)));
        view.dot.setAttribute("cy", r(view.y(here.y)));
      });
    }

    /* Draws a train on its route, and where it must take care; none where it is null. */
    function run(running) {
      shown = running;
      for (const view of views) if (view) view.over.replaceChildren();
      if (!running) return;
      const { route, train, head, verdict } = running;
      const care = verdict.stalling.length ? [["care stall", verdict.stalling]]
        : [["care no-recovery", verdict.noRecovery], ["care no-stop", verdict.noStopping]];
      for (const [cls, stretches] of care) for (const [from, to] of stretches) stretch(route, from, to, cls);
      train.blocks.forEach((block, k) => {
        stretch(route, head - train.edges[k + 1], head - train.edges[k], block.loco ? "block loco" : "block car");
      });
    }

    figures.forEach((figure, number) => {
      draw(number);
      const point = (event) => {
        const found = nearest(number, event);
        if (found) pointed(found, event.type === "pointerdown");
      };
      figure.addEventListener("pointerdown", point);
      figure.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse") point(event); });
    });
    return {
      mark,
      run,
      redraw() {
        figures.forEach((_, number) => draw(number));
        mark(marked);
        run(shown);
      },
    };
  }

  return { start };
})();

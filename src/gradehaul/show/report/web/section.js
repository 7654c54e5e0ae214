/* The long section of a route: railhead, curves, effective grade and rail condition over the distance, and, for a
   train, demand and pull by the place of its head. */
const LongSection = (() => {
  const { el, r, nice, numbers, textWidth, fitted, Board, label, path } = Drawing;

  const { slope } = Places;
  const NEAR = 1e-4;  // m: what lies so near to the end of what is shown is at it
  const treated = (rail) => rail !== "clean";

  function panel(svg, top, height, low, high) {
    const y = (value) => top + height - ((value - low) / (high - low || 1)) * height;
    const group = el("g");
    svg.append(group);
    return { group, y, top, height, bottom: top + height };
  }

  function marks(view, panelled, values) {
    const { group, y } = panelled;
    const texts = numbers(values);
    values.forEach((value, k) => {
      group.append(el("line", { x1: view.left, x2: view.right, y1: r(y(value)), y2: r(y(value)), class: "grid" }));
      label(group, view.board, texts[k], view.left - 5, y(value) + 4, { anchor: "end", size: 10.5, cls: "tick" });
    });
  }

  /* What a panel shows, above it at the left; no other label comes near. */
  function heading(svg, view, y, text) {
    const shown = fitted(text, view.right - 2, 11);
    view.board.place([2, y - 9, 2 + textWidth(shown, 11), y + 3]);
    svg.append(el("text", { x: 2, y, "font-size": 11, class: "name" }, shown));
  }

  /* How large a figure is: to be measured before anything on the page is changed, else the browser lays it out twice. */
  const roomOf = (figure) => ({ width: figure.clientWidth, height: figure.clientHeight });

  /* Draws a route, or a stretch of it, into a figure and returns what can be done with it: `mark` a place, find the place
     at a point. `room` is the size of the figure where that was measured before. */
  function draw(figure, route, units, { train = null, rail = Haulage.AS_PLANNED, on = rail, title = "", stretch = null, room = null } = {}) {
    const size = room || roomOf(figure), width = Math.max(280, Math.floor(size.width || 640));
    const roomy = width >= 560;
    const length = Haulage.stop(route.compensated), [from, to] = stretch || [0, length];
    const view = { left: roomy ? 52 : 42, right: width - 10, board: new Board(), length, from, to };
    const x = (place) => view.left + ((place - from) / (to - from)) * (view.right - view.left);
    const unit = units.lengthUnit, shown = (value) => units.converted(value, unit);
    const part = stretch ? `, from ${units.length(from)} to ${units.length(to)}` : "";
    const svg = el("svg", { role: "img", "aria-label": title + part, width, class: "long-section" });

    const rails = Boolean(train) || new Set(route.rails).size > 1;
    const high = panelHeights(figure, size, train, rails, roomy);
    const air = high.air;
    let top = drawNames(svg, view, route, x, roomy) + air;
    const railhead = drawRailhead(svg, view, route, x, units, top, high.railhead);
    top = railhead.bottom + air;
    top = drawCurves(svg, view, route, x, units, top, high.curves) + air;
    top = drawGrade(svg, view, route, x, units, top, high.grade) + 16;
    if (rails) top = drawRails(svg, view, route, rail, on, x, top) + (air > 20 ? 10 : 4);
    if (train) top = drawPull(svg, view, x, units, train, top + (air > 20 ? 22 : 17), high.pull);

    const ticks = nice(shown(from), shown(to), roomy ? 9 : 4);
    const axis = el("g");
    numbers(ticks).forEach((text, k) => {
      const across = x((ticks[k] * unit.times) / unit.parts);
      axis.append(el("line", { x1: r(across), x2: r(across), y1: railhead.top, y2: top, class: "grid" }));
      label(axis, view.board, text, across, top + 14, { size: 10.5, cls: "tick", room: [0, width - 1] });
    });
    axis.append(el("text", { x: view.left, y: top + 31, "font-size": 11, class: "name" },
      `Distance from where the ${Words.kind(route)} begins, ${unit.name}`));
    svg.prepend(axis);
    const height = top + 36;
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.setAttribute("height", height);

    const line = el("line", { y1: railhead.top - 12, y2: top, class: "mark" });
    const dot = el("circle", { r: 4.5, class: "mark-dot" });
    const body = el("g", { class: "train" });
    const cursor = el("g", { visibility: "hidden" }, line, dot);
    svg.append(body, cursor);
    const before = figure.querySelector("svg");
    if (before) before.replaceWith(svg);
    else figure.prepend(svg);

    const inside = (place) => place >= from - NEAR && place <= to + NEAR;

    function mark(place) {
      if (place !== null && train) drawTrain(body, route, train.train, place, x, railhead.y, view);
      if (place === null || !inside(place)) return cursor.setAttribute("visibility", "hidden");
      const across = r(x(place));
      line.setAttribute("x1", across);
      line.setAttribute("x2", across);
      dot.setAttribute("cx", across);
      dot.setAttribute("cy", r(railhead.y(Haulage.at(route.railhead, place))));
      cursor.setAttribute("visibility", "visible");
      return undefined;
    }

    function placeAt(clientX) {
      const box = svg.getBoundingClientRect();
      const across = ((clientX - box.left) / box.width) * width;
      const share = (across - view.left) / (view.right - view.left);
      return from + Math.min(Math.max(share, 0), 1) * (to - from);
    }

    return {
      mark, placeAt, inside, width,
      nearest: (place) => Math.min(Math.max(place, from), to),
      across: (place) => svg.getBoundingClientRect().left + (x(place) * svg.getBoundingClientRect().width) / width,
      spot: (place, height_) => ({ x: x(place), y: railhead.y(height_) }),
      metersPerDot: () => railhead.metersPerDot,
    };
  }

  /* How high each panel is: as the width allows, or so that all fit a figure that says so, where that leaves room. */
  function panelHeights(figure, size, train, rails, roomy) {
    const usual = { railhead: roomy ? 120 : 96, curves: 40, grade: roomy ? 62 : 54, pull: roomy ? 150 : 130, air: 30 };
    if (!("fit" in figure.dataset)) return usual;
    const bars = train ? 26 * ["stalling", "runningAway", "noStopping", "noRecovery"].filter((key) => train.verdict[key].length).length : 0;
    const air = 19, rest = (roomy ? 30 : 45) + 3 * air + 16 + 38 + (rails ? 28 : 0) + (train ? 27 + bars : 0);
    const curves = 26;  // the least that holds a radius within the panel
    const room = size.height - rest - curves, share = room / (train ? 92 : 56);
    if (!(share >= 1.2)) return usual;
    return { railhead: 38 * share, curves, grade: 18 * share, pull: 36 * share, air };
  }

  /* The part of a function that is seen; the function itself where all of it is. */
  function seen(f, { from, to, length }) {
    return to - from >= length ? f : Haulage.restrict(f, Math.max(from, Haulage.start(f)), Math.min(to, Haulage.stop(f)));
  }

  const reaches = (f, { from, to }) => Haulage.start(f) < to && Haulage.stop(f) > from;

  /* The part of a stretch that is seen; null where none is. */
  function clipped(from, to, view) {
    return to < view.from - NEAR || from > view.to + NEAR ? null : [Math.max(from, view.from), Math.min(to, view.to)];
  }

  function drawNames(svg, view, route, x, roomy) {
    const group = el("g");
    svg.append(group);
    const named = [];
    route.joints.forEach((joint, k) => {
      if (clipped(joint.at_m, joint.at_m, view)) named.push({ at: joint.at_m, name: joint.name, first: k === 0 || k === route.joints.length - 1 });
    });
    const berths = new Map();
    for (const { berth, from_m: from, to_m: to } of route.tracks) if (berth) berths.set(berth, [berths.get(berth)?.[0] ?? from, to]);
    for (const [name, ends] of berths) {
      const part = clipped(...ends, view);
      if (part) named.push({ at: 0.5 * (part[0] + part[1]), name, berth: true });
    }
    named.sort((a, b) => (b.first ? 1 : 0) - (a.first ? 1 : 0));
    const rows = roomy ? 2 : 3;
    for (const each of named) {
      const text = fitted(each.name, roomy ? 150 : 110, 11);
      for (let row = 0; row < rows; row++) {
        const y = 12 + 15 * (rows - 1 - row);
        const room = [2, view.right + 8];
        if (label(group, view.board, text, x(each.at), y, { size: 11, cls: each.berth ? "berth" : "joint", room })) {
          if (!each.berth) group.append(el("line", { x1: r(x(each.at)), x2: r(x(each.at)), y1: y + 3, y2: rows * 15 + 30, class: "leader" }));
          break;
        }
      }
    }
    return rows * 15;
  }

  function drawRailhead(svg, view, route, x, units, top, height) {
    const f = seen(route.railhead, view), unit = units.lengthUnit;
    let low = Haulage.least(f).value, high = Haulage.greatest(f).value;
    if (f !== route.railhead) {  // of the whole rise at least the share that is seen: level track stays level
      const rise = Haulage.greatest(route.railhead).value - Haulage.least(route.railhead).value;
      const short = Math.max((rise * (view.to - view.from)) / view.length - (high - low), 0);
      low -= short / 2; high += short / 2;
    }
    const pad = Math.max(0.08 * (high - low), 1e-3);
    low -= pad; high += 2.2 * pad;
    const here = { ...panel(svg, top, height, low, high), metersPerDot: (high - low) / height };
    const scaled = { ...here, y: (value) => here.y(value * unit.times / unit.parts) };
    heading(svg, view, top - 8, `Railhead, ${unit.name}`);
    marks(view, scaled, nice(units.converted(low, unit), units.converted(high, unit), 4));
    here.group.append(
      el("path", { d: `${path(f, x, here.y)}L${r(view.right)} ${here.bottom}L${view.left} ${here.bottom}Z`, class: "ground" }),
      el("path", { d: path(f, x, here.y), class: "rail" }));
    for (const stretch of route.grades) {
      if (stretch.vertical_curve) continue;
      const part = clipped(stretch.from_m, stretch.to_m, view);
      if (!part) continue;
      const middle = 0.5 * (part[0] + part[1]);
      const text = units.grade(Haulage.at(slope(f), middle));
      if (textWidth(text, 11) + 6 > x(part[1]) - x(part[0])) continue;
      // above the line all along the label: over its higher end
      const reach = (0.5 * textWidth(text, 11) * (view.to - view.from)) / (view.right - view.left);
      const over = Math.min(...[-reach, 0, reach].map((by) => here.y(Haulage.at(f, middle + by))));
      label(here.group, view.board, text, x(middle), over - 6, { size: 11, cls: "measure" });
    }
    return here;
  }

  function drawCurves(svg, view, route, x, units, top, height) {
    const middle = top + height / 2;
    const group = el("g");
    svg.append(group);
    const sharpest = Math.max(...route.curves.flatMap((c) => c.curvature_per_m.map(Math.abs)), 1e-9);
    heading(svg, view, top - 8, `Curves, left above and right below the line; radius, ${units.lengthUnit.name}`);
    group.append(
      el("line", { x1: view.left, x2: view.right, y1: middle, y2: middle, class: "axis" }));
    for (const curve of route.curves) {
      const part = clipped(curve.from_m, curve.to_m, view);
      if (!part) continue;
      const [begin, end] = curve.curvature_per_m, per = (end - begin) / (curve.to_m - curve.from_m);
      const [first, last] = part.map((place) => middle - ((begin + per * (place - curve.from_m)) / sharpest) * (height / 2));
      const [from, to] = part.map(x);
      group.append(el("path", { d: `M${r(from)} ${middle}L${r(from)} ${r(first)}L${r(to)} ${r(last)}L${r(to)} ${middle}Z`, class: "curve" }));
      if (first !== last) continue;
      const text = units.length(curve.radius_m).replace(/ .*/, "");
      if (textWidth(text, 10.5) + 4 <= to - from) {
        const inside = Math.abs(first - middle) >= 10;
        const y = inside ? 0.5 * (first + middle) + 4 : first < middle ? middle + 12 : middle - 4;
        label(group, view.board, text, 0.5 * (from + to), y, { size: 10.5, cls: "measure" });
      }
    }
    return top + height;
  }

  function drawGrade(svg, view, route, x, units, top, height) {
    const f = slope(route.compensated);
    const low = Math.min(0, Haulage.least(f).value), high = Math.max(0.001, Haulage.greatest(f).value) * 1.08;
    const here = panel(svg, top, height, low * 1.08, high), part = seen(f, view);
    const percent = nice(100 * low, 100 * high, height < 48 ? 2 : 3);
    heading(svg, view, top - 8, "Effective grade (grade plus curves), %");
    marks(view, { ...here, y: (value) => here.y(value / 100) }, percent);
    here.group.append(
      el("path", { d: `M${view.left} ${r(here.y(0))}${path(part, x, here.y, true)}L${r(view.right)} ${r(here.y(0))}Z`, class: "effective-fill" }),
      el("path", { d: path(part, x, here.y), class: "effective" }),
      el("line", { x1: view.left, x2: view.right, y1: r(here.y(0)), y2: r(here.y(0)), class: "axis" }));
    return here.bottom;
  }

  /* The rail that the train is judged on, with what it is called: each track's own, else one condition everywhere. */
  function drawRails(svg, view, route, rail, on, x, top) {
    const group = el("g");
    svg.append(group);
    const planned = Haulage.PLANNED.includes(rail);
    const rails = planned ? route.rails : route.rails.map(() => rail);
    heading(svg, view, top + 7, `Rail, ${on}: solid is clean, dashed has film`);
    let k = 0;
    while (k < rails.length) {
      let end = k;
      while (end + 1 < rails.length && rails[end + 1] === rails[k]) end += 1;
      const part = clipped(route.starts[k], route.starts[end + 1], view);
      if (part) {
        group.append(el("line", {
          x1: r(x(part[0])), x2: r(x(part[1])), y1: top + 17, y2: top + 17, class: treated(rails[k]) ? "bed treated" : "bed",
        }));
      }
      k = end + 1;
    }
    return top + 24;
  }

  function drawPull(svg, view, x, units, train, top, height) {
    const { need: { running, starting }, verdict, lines } = train;
    const reach = [Haulage.start(running), Haulage.stop(running)];
    const flat = (pull) => (typeof pull === "number"
      ? { breaks: reach, values: [pull], slopes: [0], seconds: [0] } : Haulage.restrict(pull, ...reach));
    const given = lines.flatMap((line) => [line.standing, line.slipping]).map(flat);
    const high = Math.max(Haulage.greatest(starting).value, ...given.map((f) => Haulage.greatest(f).value)) * 1.1;
    const low = Math.min(0, Haulage.least(running).value) * 1.05;
    const here = panel(svg, top, height, low, high);
    const unit = units.forceUnit(high);
    const back = (value) => (value * unit.times) / unit.parts;
    heading(svg, view, top - 8, `Pull, by the place of the train's head, ${unit.name}`);
    marks(view, { ...here, y: (value) => here.y(back(value)) }, nice(units.converted(low, unit), units.converted(high, unit), 4));
    here.group.append(el("line", { x1: view.left, x2: view.right, y1: r(here.y(0)), y2: r(here.y(0)), class: "axis" }));
    if (reaches(running, view)) {
      const drawn = (f) => path(seen(f, view), x, here.y);
      here.group.prepend(el("path", { d: `${drawn(starting)}${reversedPath(seen(running, view), x, here.y)}Z`, class: "starting" }));
      here.group.append(el("path", { d: drawn(running), class: "needed" }));
      lines.forEach((line, k) => {
        here.group.append(
          el("path", { d: drawn(given[2 * k + 1]), class: `given slipping ${line.cls}` }),
          el("path", { d: drawn(given[2 * k]), class: `given ${line.cls}` }));
      });
    }
    let y = here.bottom + 8;
    for (const [name, stretches, cls] of [
      ["stalls", verdict.stalling, "bar stall"],
      ["runs away", verdict.runningAway, "bar away"],
      ["must not stop", verdict.noStopping, "bar no-stop"],
      ["no recovery from a slip", verdict.noRecovery, "bar no-recovery"],
    ]) {
      if (!stretches.length) continue;
      const group = el("g");
      here.group.append(group);
      group.append(el("text", { x: view.left, y: y + 10, "font-size": 11, class: "name" }, name));
      for (const part of stretches) {
        const [from, to] = clipped(...part, view) || [];
        if (from === undefined) continue;
        group.append(el("rect", { x: r(x(from)), width: r(Math.max(x(to) - x(from), 2)), y: y + 14, height: 7, class: cls }));
      }
      y += 26;
    }
    return y + 2;
  }

  function reversedPath(f, x, y) {
    const parts = [];
    for (let k = f.values.length - 1; k >= 0; k--) {
      const width = f.breaks[k + 1] - f.breaks[k];
      parts.push(`L${r(x(f.breaks[k + 1]))} ${r(y(Haulage.endOf(f, k)))}`);
      const to = `${r(x(f.breaks[k]))} ${r(y(f.values[k]))}`;
      const middle = f.values[k] + (f.slopes[k] * width) / 2;
      parts.push(f.seconds[k] === 0 ? `L${to}` : `Q${r(x(f.breaks[k] + width / 2))} ${r(y(middle))} ${to}`);
    }
    return parts.join("");
  }

  /* The train on the railhead: each block a thick stroke, locomotives dark; over the end of a lap it goes on at its begin. */
  function drawTrain(group, route, train, head, x, y, view) {
    const nodes = [], steps = 6;
    train.blocks.forEach((block, k) => {
      for (const by of route.lap ? [0, view.length] : [0]) {
        const part = clipped(head - train.edges[k + 1] + by, head - train.edges[k] + by, view);
        if (!part || part[1] <= part[0]) continue;
        const points = Array.from({ length: steps + 1 }, (_, j) => {
          const place = part[0] + ((part[1] - part[0]) * j) / steps;
          return `${r(x(place))} ${r(y(Haulage.at(route.railhead, place)) - 5)}`;
        });
        nodes.push(el("path", { d: `M${points.join("L")}`, class: block.loco ? "block loco" : "block car" }));
      }
    });
    group.replaceChildren(...nodes);
  }

  return { draw, roomOf };
})();

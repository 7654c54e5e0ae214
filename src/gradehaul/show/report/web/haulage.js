/* Demand, supply and verdict in the page: the same sums as track/piecewise, haulage/demand and haulage/verdict.

   A function of the distance along a route is {breaks, values, slopes, seconds}: on piece i, with t the distance from
   breaks[i], it is values[i] + slopes[i] t + seconds[i] t² / 2. Sums are taken in the same order as there, so that the
   figures are the same to the last bit where the machine's arithmetic is. */
const Haulage = (() => {
  const TIE = 1e-9;
  const TOUCH = 1e-10;
  const NEAR = 1e-9;
  /* Friction of tension is rounded up to this, N. */
  const ROUNDED = 1e-9;
  const AS_PLANNED = "as planned", FRESH = " fresh", PLANNED_FRESH = AS_PLANNED + FRESH;
  const BASES = ["measured", "stated", "scaled", "assumed"];

  // Functions of the distance

  /* The place in a sorted list before which all its values satisfy `before`. */
  function firstPast(sorted, before) {
    let low = 0, high = sorted.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (before(sorted[middle])) low = middle + 1; else high = middle;
    }
    return low;
  }
  const firstAtLeast = (sorted, value) => firstPast(sorted, (each) => each < value);
  const firstAbove = (sorted, value) => firstPast(sorted, (each) => each <= value);

  function at(f, place) {
    const piece = Math.min(Math.max(firstAbove(f.breaks, place) - 1, 0), f.values.length - 1);
    const t = place - f.breaks[piece];
    return f.values[piece] + t * (f.slopes[piece] + 0.5 * t * f.seconds[piece]);
  }

  function endOf(f, piece) {
    const width = f.breaks[piece + 1] - f.breaks[piece];
    return f.values[piece] + width * (f.slopes[piece] + 0.5 * width * f.seconds[piece]);
  }

  const start = (f) => f.breaks[0];
  const stop = (f) => f.breaks[f.breaks.length - 1];
  const times = (f, factor) => ({
    breaks: f.breaks,
    values: f.values.map((v) => v * factor),
    slopes: f.slopes.map((v) => v * factor),
    seconds: f.seconds.map((v) => v * factor),
  });
  const raised = (f, by) => ({ ...f, values: f.values.map((v) => v + by) });

  function sumOfShifted(terms, from, to) {
    const moved = terms.map(([f, , shift]) => Float64Array.from(f.breaks, (b) => b + shift));
    const inside = [];
    for (const own of moved) {
      for (let k = firstAbove(own, from), end = firstAtLeast(own, to); k < end; k++) inside.push(own[k]);
    }
    const breaks = Float64Array.from([from, ...inside, to]);
    if (terms.length > 1) breaks.sort();
    const count = breaks.length - 1;
    const left = breaks.subarray(0, count);
    const values = new Float64Array(count), slopes = new Float64Array(count), seconds = new Float64Array(count);
    terms.forEach(([f, weight], number) => {
      const own = moved[number], pieces = f.values.length;
      let edge = 0;
      for (let piece = 0; piece < pieces; piece++) {
        const next = piece + 1 < pieces ? firstAtLeast(left, own[piece + 1]) : count;
        for (let k = edge; k < next; k++) {
          const t = left[k] - own[piece], bend = t * f.seconds[piece];
          values[k] += weight * (f.values[piece] + t * (f.slopes[piece] + 0.5 * bend));
          slopes[k] += weight * (f.slopes[piece] + bend);
          seconds[k] += weight * f.seconds[piece];
        }
        edge = Math.max(edge, next);
      }
    });
    return { breaks, values, slopes, seconds };
  }

  const restrict = (f, from, to) => sumOfShifted([[f, 1.0, 0.0]], from, to);

  function plus(f, g) {
    return sumOfShifted([[f, 1.0, 0.0], [g, 1.0, 0.0]], Math.max(start(f), start(g)), Math.min(stop(f), stop(g)));
  }

  function joined(parts, followOn) {
    const breaks = [start(parts[0])], values = [], slopes = [], seconds = [];
    let along = 0.0, gained = 0.0;
    const first = parts[0].values[0];
    for (const part of parts) {
      const begin = values.length;
      let lift = 0.0;
      if (followOn) lift = first + gained - part.values[0];
      for (let k = 0; k < part.values.length; k++) {
        along += part.breaks[k + 1] - part.breaks[k];
        breaks.push(start(parts[0]) + along);
        values.push(part.values[k]);
        slopes.push(part.slopes[k]);
        seconds.push(part.seconds[k]);
      }
      if (followOn) {
        gained += endOf(part, part.values.length - 1) - part.values[0];
        for (let k = begin; k < values.length; k++) values[k] += lift;
      }
    }
    return { breaks, values, slopes, seconds };
  }

  /* The greatest value and the first place where it is reached, to within rounding. */
  function greatest(f) {
    let top = -Infinity;
    const turning = [];
    for (let k = 0; k < f.values.length; k++) {
      top = Math.max(top, f.values[k], endOf(f, k));
      if (f.seconds[k] !== 0) {
        const t = -f.slopes[k] / f.seconds[k];
        if (t > 0 && t < f.breaks[k + 1] - f.breaks[k]) {
          const value = f.values[k] + 0.5 * f.slopes[k] * t;
          turning.push([f.breaks[k] + t, value]);
          top = Math.max(top, value);
        }
      }
    }
    const enough = top - 1e-12 * Math.max(1e-9, Math.abs(top));
    const reached = (list, value, where) => {
      const k = list.findIndex((each, number) => value(each, number) >= enough);
      return k < 0 ? Infinity : where(list[k], k);
    };
    const place = Math.min(
      reached(f.values, (value) => value, (_, k) => f.breaks[k]),
      reached(f.values, (_, k) => endOf(f, k), (_, k) => f.breaks[k + 1]),
      reached(turning, ([, value]) => value, ([where]) => where));
    return { value: top, at: place };
  }

  function least(f) {
    const top = greatest(times(f, -1.0));
    return { value: -top.value, at: top.at };
  }

  function roots(f) {
    const found = [];
    for (const second of [false, true]) {
      for (let k = 0; k < f.values.length; k++) {
        const a = 0.5 * f.seconds[k], b = f.slopes[k], c = f.values[k];
        const apart = b * b - 4 * a * c;
        if (!(apart >= 0)) continue;
        const root = Math.sqrt(Math.max(apart, 0.0));
        const q = -0.5 * (b + (b < 0 || Object.is(b, -0) ? -root : root));
        const t = second ? c / q : q / a;
        if (Number.isFinite(t) && t > 0 && t < f.breaks[k + 1] - f.breaks[k]) found.push(f.breaks[k] + t);
      }
    }
    return found;
  }

  /* The stretches where a function is less than a level, in order, joined where they meet. */
  function below(f, level) {
    const lower = raised(f, -level);
    const sorted = Float64Array.from([...lower.breaks, ...roots(lower)]).sort();
    const places = sorted.filter((place, k) => k === 0 || place !== sorted[k - 1]);
    if (places.length < 2) return lower.values[0] < 0 ? [[places[0], places[0]]] : [];
    const stretches = [];
    let open = null;
    for (let k = 0; k + 1 < places.length; k++) {
      const low = at(lower, 0.5 * (places[k] + places[k + 1])) < 0;
      if (low && open === null) open = places[k];
      if (!low && open !== null) { stretches.push([open, places[k]]); open = null; }
    }
    if (open !== null) stretches.push([open, places[places.length - 1]]);
    return stretches;
  }

  // Trains

  /* The stock of the page's data by name; maps, since a car may well be called "constructor". */
  function stockFrom(data) {
    const byName = (list) => new Map(list.map((each) => [each.name, each]));
    return { ...data, locos: byName(data.locos), powers: byName(data.powers), cars: byName(data.cars) };
  }

  /* A consist, [{name, count}] from head to tail, as blocks of equal vehicles; `together` null where its own rule
     holds: the power's share where all locomotives are of one, else the usual one. At each reversal, given
     by the room for locomotives to run round it or null, its tail comes ahead, then locomotives behind all its cars
     where they run round, in the opposite order where their way `turns` them. */
  function madeUp(stock, consist, together = null, runRounds = [], turns = []) {
    const blocks = [], powers = [];
    for (const { name, count } of consist) {
      const car = stock.cars.get(name);
      if (car) {
        blocks.push({ vehicle: car, loco: false, count });
        continue;
      }
      const power = stock.powers.get(name);
      let last = null;
      for (let k = 0; k < count; k++) {
        powers.push(power);
        for (const vehicle of power.locos.map((loco) => stock.locos.get(loco))) {
          if (last && last.vehicle === vehicle) last.count += 1;
          else blocks.push((last = { vehicle, loco: true, count: 1 }));
        }
      }
    }
    const share = together !== null ? together : powers.length === 1 ? powers[0].together : Math.min(stock.together, ...powers.map((power) => power.together));
    const shutIn = [];
    for (const [number, room] of runRounds.entries()) {
      blocks.reverse();
      const behind = blocks.findLastIndex((block) => !block.loco) + 1;
      if (room === null || behind === 0) continue;
      const round = blocks.splice(behind);
      const length = round.reduce((sum, block) => sum + block.count * block.vehicle.length_m, 0.0);
      if (length > room * (1 + 1e-9)) shutIn.push({ number, length });
      blocks.unshift(...(turns[number] ? round.reverse() : round));
    }
    const edges = [0.0];
    const lineWeights = [];
    const locos = [];
    let along = 0.0, rolling = 0.0, starting = 0.0, lowest = 0.0;
    for (const { vehicle, loco, count } of blocks) {
      const length = count * vehicle.length_m;
      lineWeights.push((stock.gravity * (count * vehicle.mass_kg)) / length);
      if (loco) for (let k = 0; k < count; k++) locos.push({ loco: vehicle, behind: along + k * vehicle.length_m });
      else {
        rolling += stock.gravity * count * vehicle.mass_kg * vehicle.rolling;
        starting += stock.gravity * count * vehicle.mass_kg * vehicle.starting;
        lowest += stock.gravity * count * vehicle.mass_kg * vehicle.lowest;
      }
      along += length;
      edges.push(along);
    }
    return { blocks, together: share, edges, lineWeights, locos, rolling, starting, lowest, length: along, shutIn, curves: stock.curves };
  }

  // Demand and supply

  const length = (route) => stop(route.compensated);
  const firstHead = (route, trainLength) => (route.starts_whole ? Math.min(trainLength, length(route)) : 0.0);

  /* The compensated profile with so many times the curve coefficient. */
  function withCurves(route, times) {
    if (times === 1.0) return route.compensated;
    const part = (key) => route.compensated[key].map((value, k) => {
      const level = route.railhead[key][k];
      return level + times * (value - level);
    });
    return { breaks: route.compensated.breaks, values: part("values"), slopes: part("slopes"), seconds: part("seconds") };
  }

  /* A function along the route carried on behind where it begins: level, or on a lap the lap again. */
  function withTrackBehind(route, back, carried) {
    if (!route.lap) {
      const level = { breaks: [start(carried) - 1.0, start(carried)], values: [carried.values[0]], slopes: [0.0], seconds: [0.0] };
      return joined([level, carried], false);
    }
    const rounds = back > 0 ? Math.ceil(back / length(route)) : 0;
    const turns = joined(Array(rounds + 1).fill(carried), true);
    const gain = endOf(carried, carried.values.length - 1) - carried.values[0];
    const shift = -rounds * length(route);
    return raised({ ...turns, breaks: turns.breaks.map((b) => b + shift) }, -rounds * gain);
  }

  /* What a whole train needs on grades and curves, locomotives included, N, by the place of its head. */
  function gravityAndCurves(route, train, times = 1.0) {
    const weights = [...train.lineWeights, 0.0];
    for (let k = 1; k < weights.length; k++) weights[k] -= train.lineWeights[k - 1];
    const behind = withTrackBehind(route, train.length, withCurves(route, times));
    const terms = [];
    weights.forEach((weight, k) => { if (weight !== 0) terms.push([behind, weight, train.edges[k]]); });
    return sumOfShifted(terms, firstHead(route, train.length), length(route));
  }

  /* What coupler tension adds on curves, N, by the place of the head: haulage/tension, cell by cell. */
  function frictionOfTension(route, train, times, resistance) {
    const { coefficient_m: coefficient, tension } = train.curves;
    const first = firstHead(route, train.length), last = length(route);
    const none = { breaks: [first, last], values: [0], slopes: [0], seconds: [0] };
    if (!train.locos.length || train.blocks.every((block) => block.loco)) return none;
    const back = train.length;
    const carried = withTrackBehind(route, back, withCurves(route, times));
    const level = withTrackBehind(route, back, withCurves(route, 0.0)), bent = withTrackBehind(route, back, route.compensated);
    const size = Math.max(back / 800, last / 20000), count = Math.ceil((last + back) / size);
    const even = Array.from({ length: count + 1 }, (_, k) => (k === count ? last : -back + k * ((last + back) / count)));
    const inside = Array.from(carried.breaks).filter((place) => place > -back && place < last);
    const sorted = Float64Array.from([...even, ...inside]).sort();
    const places = sorted.filter((place, k) => k === 0 || place !== sorted[k - 1]);
    const angle = places.map((place) => (tension * (at(bent, place) - at(level, place))) / coefficient);
    const before = (place) => Math.max(firstAbove(places, place - NEAR) - 1, 0);
    const after = (place) => Math.min(firstAtLeast(places, place + NEAR), places.length - 1);
    const loads = new Map();
    function loadOf(vehicle) {
      if (loads.has(vehicle)) return loads.get(vehicle);
      const plain = [0.0], towardHead = [0.0], towardTail = [0.0];
      for (let k = 0; k + 1 < places.length; k++) {
        const width = places[k + 1] - places[k], middle = places[k] + 0.5 * width;
        const piece = Math.min(Math.max(firstAbove(carried.breaks, middle) - 1, 0), carried.values.length - 1);
        const grade = carried.slopes[piece] + (middle - carried.breaks[piece]) * carried.seconds[piece];
        const half = 0.5 * width * carried.seconds[piece], resist = vehicle[resistance];
        const need = 0.5 * width * (Math.abs(grade - half + resist) + Math.abs(grade + half + resist));
        plain.push(plain[k] + need);
        towardHead.push(towardHead[k] + need * Math.exp(-angle[k]));
        towardTail.push(towardTail[k] + need * Math.exp(angle[k + 1]));
      }
      const pulled = (begin, end, coupler) =>
        Math.max(Math.exp(angle[coupler]) * (towardHead[end] - towardHead[begin]) - (plain[end] - plain[begin]), 0.0);
      const pushed = (begin, end, coupler) =>
        Math.max(Math.exp(-angle[coupler]) * (towardTail[end] - towardTail[begin]) - (plain[end] - plain[begin]), 0.0);
      loads.set(vehicle, { pulled, pushed });
      return loads.get(vehicle);
    }
    const heads = [first, ...places.filter((place) => place > first && place < last), last];
    const leading = train.locos[0].behind + train.locos[0].loco.length_m, trailing = train.locos.at(-1).behind;
    const values = heads.slice(0, -1).map((low, k) => {
      const high = heads[k + 1], ahead = after(high - leading), behind = before(low - trailing);
      let friction = 0.0;
      train.blocks.forEach(({ vehicle, loco }, number) => {
        if (loco) return;
        const load = loadOf(vehicle), front = train.edges[number], rear = train.edges[number + 1];
        const begin = before(low - rear), end = after(high - front);
        const pulled = front >= leading - NEAR, pushed = rear <= trailing + NEAR;
        if (pulled && pushed) {
          const split = firstAtLeast(angle, 0.5 * (angle[behind] + angle[ahead]) + NEAR);
          const within = (cell) => Math.min(Math.max(cell, begin), end);
          friction += train.lineWeights[number] * load.pulled(begin, within(split), ahead);
          friction += train.lineWeights[number] * load.pushed(within(split - 1), end, behind);
        } else {
          friction += train.lineWeights[number] * (pulled ? load.pulled(begin, end, ahead) : load.pushed(begin, end, behind));
        }
      });
      return Math.ceil(friction / ROUNDED) * ROUNDED;
    });
    return { breaks: heads, values, slopes: values.map(() => 0), seconds: values.map(() => 0) };
  }

  /* What a whole train needs when it runs, when it starts, and at the least, N, by the place of its head. */
  function demand(route, train) {
    const { starting, lowest, tension } = train.curves;
    const base = gravityAndCurves(route, train);
    let run = raised(base, train.rolling);
    let start = raised(starting === 1.0 ? base : gravityAndCurves(route, train, starting), train.starting);
    if (tension) {
      run = plus(run, frictionOfTension(route, train, 1.0, "rolling"));
      start = plus(start, frictionOfTension(route, train, starting, "starting"));
    }
    return { running: run, starting: start, least: raised(gravityAndCurves(route, train, lowest), train.lowest) };
  }

  function weakestUnder(route, loco, behind, pull) {
    let spans = [];
    pull.forEach((value, k) => {
      if (k && value === pull[k - 1]) spans[spans.length - 1].end = route.starts[k + 1];
      else spans.push({ begin: route.starts[k], end: route.starts[k + 1], value });
    });
    if (route.lap) {
      const rounds = Math.ceil((behind + loco.length_m) / length(route));
      const all = [];
      for (let k = -rounds; k <= 0; k++) {
        const back = k * length(route);
        for (const span of spans) all.push({ begin: span.begin + back, end: span.end + back, value: span.value });
      }
      spans = all;
    } else spans[0].begin = -Infinity;
    const fromHead = spans.map((span) => span.begin + behind + TOUCH);
    const toHead = spans.map((span) => span.end + behind + loco.length_m - TOUCH);
    const sorted = Float64Array.from([0.0, length(route), ...fromHead, ...toHead]).sort();
    const breaks = sorted.filter((p, k) => (k === 0 || p !== sorted[k - 1]) && p >= 0 && p <= length(route));
    const middle = breaks.subarray(0, breaks.length - 1).map((place, k) => 0.5 * (place + breaks[k + 1]));
    const values = new Float64Array(middle.length).fill(Infinity);
    spans.forEach((span, k) => {
      for (let j = firstAtLeast(middle, fromHead[k]), end = firstAtLeast(middle, toHead[k]); j < end; j++) {
        values[j] = Math.min(values[j], span.value);
      }
    });
    return { breaks, values, slopes: new Float64Array(values.length), seconds: new Float64Array(values.length) };
  }

  const weakestBasis = (bases) => BASES[Math.max(...bases.map((basis) => BASES.indexOf(basis)))];

  /* What the locomotives of a train give, N: numbers where they are the same all the way, else functions of the head's
     place. Each locomotive gives the pull of the weakest condition under any part of it. */
  function supply(route, train, rail) {
    const rails = railsAlong(route, rail);
    const alike = new Set(rails.map((own) => own.join("\n"))).size === 1;
    const weakest = (loco, own, key) => Math.min(...own.map((name) => loco.pulls[name][key]));
    const given = {};
    for (const [kind, key] of [["standing", "standing_n"], ["slipping", "slipping_n"]]) {
      if (alike) {
        given[kind] = train.together * train.locos.reduce((sum, { loco }) => sum + weakest(loco, rails[0], key), 0);
        continue;
      }
      const parts = train.locos.map(({ loco, behind }) =>
        weakestUnder(route, loco, behind, rails.map((own) => weakest(loco, own, key))));
      given[kind] = times(parts.reduce(plus), train.together);
    }
    return given;
  }

  /* A rail condition as it is on the day on which its film goes on. */
  const firstDay = (rail) => (rail === "clean" || rail.endsWith(FRESH) ? rail : rail + FRESH);

  /* The rail conditions that each track may have as planned, rested or on the first day; else one for all. */
  function railsAlong(route, rail) {
    if (rail === PLANNED_FRESH) return route.conditions.map((own) => own.map(firstDay));
    return rail === AS_PLANNED ? route.conditions : [[rail]];
  }

  /* The rail conditions that may be under a stretch, both sides of a joint at its ends counted. */
  function railsUnder(route, from, to) {
    const whole = length(route);
    if (route.lap && to - from >= whole) return [...new Set(route.conditions.flat())];
    const laps = route.lap ? Math.floor(from / whole) : 0;
    const found = new Set();
    for (const back of route.lap ? [laps * whole, (laps + 1) * whole] : [0.0]) {
      const first = firstAtLeast(route.starts.slice(1), from - back - 1e-9);
      const last = firstAbove(route.starts.slice(0, -1), to - back + 1e-9);
      route.conditions.slice(first, last).flat().forEach((rail) => found.add(rail));
    }
    return found.size ? [...found] : route.conditions[0];
  }

  /* Where the pulls come from that the locomotives give with the head at one place: the least certain of them. */
  function basisAt(route, train, rail, head, value, basis) {
    return weakestBasis(train.locos.map(({ loco, behind }) => {
      let under = railsAlong(route, rail).flat();
      if (rail === AS_PLANNED || rail === PLANNED_FRESH) {
        under = railsUnder(route, head - behind - loco.length_m, head - behind);
        if (rail === PLANNED_FRESH) under = under.map(firstDay);
      }
      const pulls = under.map((name) => loco.pulls[name]);
      return pulls.reduce((weak, pull) => (pull[value] < weak[value] ? pull : weak))[basis];
    }));
  }

  const less = (pull, needed) =>
    typeof pull === "number" ? raised(times(needed, -1.0), pull) : plus(pull, times(needed, -1.0));
  const most = (pull) => (typeof pull === "number" ? pull : greatest(pull).value);

  // The verdict

  const LEVEL = 1e-6;
  const WORST_FIRST = ["stalls", "runs away", "marginal", "climbs"];

  /* Whether a route, leg by leg, climbs anywhere or is level all the way: not where it only goes down. */
  function goesUp(legs) {
    let climb = 0.0, fall = 0.0;
    const add = (gain) => { if (gain > 1e-12) climb += gain; else if (gain < -1e-12) fall -= gain; };
    for (const { railhead, compensated } of legs) {
      const f = { ...railhead, breaks: compensated.breaks };
      f.values.forEach((value, k) => {
        const width = f.breaks[k + 1] - f.breaks[k], whole = endOf(f, k) - value;
        const t = f.seconds[k] ? -f.slopes[k] / f.seconds[k] : 0.0;
        const part = t > 0 && t < width ? 0.5 * f.slopes[k] * t : 0.0;
        add(part);
        add(whole - part);
      });
    }
    return climb > LEVEL || fall <= LEVEL;
  }

  function trackNumber(route, place, ahead) {
    const number = firstAbove(route.starts, place + (ahead || place <= 0 ? 1e-9 : -1e-9)) - 1;
    return Math.min(Math.max(number, 0), route.tracks.length - 1);
  }
  const trackAt = (route, place, ahead = false) => route.tracks[trackNumber(route, place, ahead)].name;

  /* The places of a route that do not hold a train, and the run-rounds that do not hold its locomotives. */
  function misfits(route, stock, consist, together) {
    const train = madeUp(stock, consist, together, route.reversals.map((each) => each.room_m));
    const tooLong = route.rooms.filter((room) => train.length > room.length_m * (1 + 1e-9))
      .map((room) => ({ place: room.name, length: train.length, available: room.length_m, runRound: false }));
    const shutIn = train.shutIn.map(({ number, length }) => (
      { place: route.reversals[number].run_round, length, available: route.reversals[number].room_m, runRound: true }));
    return [...tooLong, ...shutIn];
  }

  /* A train on a route in one direction, on that of the ways on to its start which is worst for it. */
  function judge(route, train, rail) {
    const rank = (found) => WORST_FIRST.indexOf(found.outcome);
    const ways = route.behind.length ? route.behind.map((each) => ({ ...route, ...each })) : [route];
    return ways.map((way) => judgeOn(way, train, rail))
      .reduce((low, each) => (rank(each) - rank(low) || each.spare - low.spare) < 0 ? each : low);
  }

  function judgeOn(route, train, rail) {
    const given = supply(route, train, rail);
    const need = demand(route, train);
    const allowed = TIE * most(given.standing), allowedSlip = TIE * most(given.slipping);
    const tests = [
      ["stand", less(given.standing, need.running), allowed],
      ["restart", less(given.standing, need.starting), allowed],
      ["slip", less(given.slipping, need.running), allowedSlip],
      ["hold", less(given.slipping, times(need.least, -1.0)), allowedSlip],
    ].map(([test, left, tie]) => {
      const { value, at: place } = least(left);
      const fails = value < -0.5 * tie ? below(left, -tie) : [];  // most trains fail nowhere
      // what fails only by what a tie allows does not fail
      return { test, fails, value, place, spare: fails.length ? value : Math.max(value, 0.0) };
    });
    const [worst, , slip] = tests, [stalling, noStopping, noRecovery, pushing] = tests.map((each) => each.fails);
    const left = tests.reduce((low, each) => (each.spare < low.spare ? each : low));
    const climb = stalling.length ? "stalls" : noStopping.length || noRecovery.length ? "marginal" : "climbs";
    const place = stalling.length ? stalling[0][0] : worst.place;
    const outcome = climb !== "stalls" && pushing.length ? "runs away" : climb;
    return {
      climb, outcome, margin: worst.value, marginAt: worst.place, at: place,
      spare: left.spare, spareAt: left.place, spareTrack: trackAt(route, left.place), spareBy: left.test,
      failsAt: stalling.length ? place : pushing.length ? pushing[0][0] : left.place,
      track: trackAt(route, place, stalling.length > 0),
      noStopping, noRecovery, stalling,
      runningAway: pushing,
      basis: basisAt(route, train, rail, place, "standing_n", "basis"),
      slippingBasis: basisAt(route, train, rail, slip.place, "slipping_n", "slipping_basis"),
      given, need,
    };
  }

  /* The pull with the head at a place; where it jumps there, the less of both sides. */
  const pullAt = (pull, head) => (typeof pull === "number" ? pull
    : Math.min(at(pull, head), at(pull, Math.max(head - 1e-9, start(pull)))));

  /* What a train has to spare with its head at a place; where it jumps there, the less of both sides. */
  function spareAt({ given, need }, head) {
    return Math.min(...[head, Math.max(head - 1e-9, start(need.running))].map((place) => {
      const standing = pullAt(given.standing, place), slipping = pullAt(given.slipping, place);
      const running = at(need.running, place), starting = at(need.starting, place);
      return Math.min(standing - Math.max(running, starting), slipping - running, slipping + at(need.least, place));
    }));
  }

  return {
    pullAt, spareAt, goesUp, AS_PLANNED, PLANNED: [AS_PLANNED, PLANNED_FRESH], at, stockFrom, start, stop, endOf, greatest, least, restrict,
    madeUp, supply, judge, trackAt, trackNumber, misfits, firstDay,
  };
})();

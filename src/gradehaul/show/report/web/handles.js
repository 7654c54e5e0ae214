/* Handles on the long section: railheads that a hand, the arrow keys or a figure moves. */
const Handles = (() => {
  /* The stations along a route: a station once for each place at which the route meets it. */
  function along(route, data) {
    const found = [];
    for (const station of data.heights) {
      const places = station.joint
        ? route.joints.filter((joint) => joint.name === station.joint).map((joint) => joint.at_m)
        : Places.on([route], station.track, station.at_m).map(([, place]) => place);
      for (const place of places) found.push({ station, place });
    }
    return found;
  }

  const NEAR = 5e-4;  // m: up to this a place is the end of its track
  const known = new WeakMap();

  /* What stations are called, by their keys: where two would be called alike, by track and distance. */
  function names(data, units) {
    const stations = data.heights;
    if (known.has(stations)) return known.get(stations);
    const tracks = new Map();
    for (const route of data.routes) {
      route.tracks.forEach((track, k) => tracks.set(track.id, { name: track.name, length: route.starts[k + 1] - route.starts[k] }));
    }
    const along = (station) => `${units.fine(station.at_m)} along it`;
    const short = stations.map((station) => {
      if (station.joint) return station.joint;
      const { name, length } = tracks.get(station.track) || { name: station.track, length: NaN };
      const spot = station.at_m <= NEAR ? "at its start" : length - station.at_m <= NEAR ? "at its end" : along(station);
      return `${name}, ${spot}`;
    });
    const unique = (k) => stations[k].joint || short.indexOf(short[k]) === short.lastIndexOf(short[k]);
    const list = new Map(stations.map((station, k) => [station.key, unique(k) ? short[k] : `${station.track}, ${along(station)}`]));
    known.set(stations, list);
    return list;
  }

  /* Puts handles over a drawn section. `hand` is called on a move: `hand.chosen(station)`, `hand.grab()`,
     `hand.to(station, height)` and `hand.drop()`, and knows the `height` of each station now. `follow` shows the place
     of a handle that gets the focus. */
  function start(figure, units, hand, follow) {
    const layer = document.createElement("div");
    layer.className = "handles";
    const buttons = new Map();
    const tag = document.createElement("span");  // what the handle that has the focus says by its own name
    tag.className = "handle-height";
    tag.setAttribute("aria-hidden", "true");
    tag.hidden = true;
    layer.append(tag);
    let drawn = null, held = null;

    const step = () => (units.lengthUnit.name === "in" || units.lengthUnit.name === "ft" ? 0.0254 / 16 : 0.001);

    /* The key of the handle whose middle is nearest to a pointer: those that lie close cover one another. */
    function nearest(event) {
      const off = ({ button }) => {
        const box = button.getBoundingClientRect();
        return Math.hypot(event.clientX - (box.left + box.right) / 2, event.clientY - (box.top + box.bottom) / 2);
      };
      return [...buttons].filter(([, { inside }]) => inside).reduce((best, each) => (off(each[1]) < off(best[1]) ? each : best))[0];
    }

    function make(key) {
      const button = document.createElement("button");
      button.type = "button";
      button.setAttribute("role", "slider");
      button.setAttribute("aria-orientation", "vertical");
      button.addEventListener("focus", () => {
        hand.chosen(buttons.get(key).station);
        follow(buttons.get(key).at);
        showTag();
      });
      button.addEventListener("blur", showTag);
      button.addEventListener("keydown", (event) => {
        const { station } = buttons.get(key);
        const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
        if (!by) return;
        event.preventDefault();
        hand.grab();
        hand.to(station, hand.height(station) + by * step() * (event.shiftKey ? 10 : 1));
        hand.drop();
      });
      button.addEventListener("pointerdown", (event) => {
        const { button: meant, station } = buttons.get(nearest(event));
        event.preventDefault();
        event.stopPropagation();
        meant.focus();
        meant.setPointerCapture(event.pointerId);
        held = { station, from: event.clientY, height: hand.height(station), perDot: drawn.metersPerDot(), moved: false };
        hand.grab();
      });
      button.addEventListener("pointermove", (event) => {
        if (!held) return;
        event.stopPropagation();
        const by = Math.round(((held.from - event.clientY) * held.perDot) / step()) * step();
        if (!by && !held.moved) return;
        held.moved = true;
        hand.to(held.station, held.height + by);
      });
      const drop = () => {
        if (!held) return;
        held = null;
        hand.drop();
      };
      button.addEventListener("pointerup", drop);
      button.addEventListener("pointercancel", drop);
      layer.append(button);
      return button;
    }

    /* Shows the joint and the railhead of the handle that has the focus, on the side of it that has more room. */
    function showTag() {
      const button = document.activeElement, none = button?.parentNode !== layer;
      tag.hidden = none;
      if (none) return;
      tag.textContent = button.title;
      const across = Number.parseFloat(button.style.left), { width } = drawn;
      const right = across > width / 2, beside = right ? across : width - across;
      tag.style.maxWidth = `${beside - 32}px`;
      tag.style.left = right ? "" : `${across + 18}px`;
      tag.style.right = right ? `${width - across + 18}px` : "";
      tag.style.top = button.style.top;
    }

    /* Sets the handles where the section now has its railheads. */
    function place(section, route, data) {
      drawn = section;
      if (layer.parentNode !== figure) figure.append(layer);
      const seen = new Set(), met = new Map(), called = names(data, units);
      for (const { station, place: at } of along(route, data)) {
        const number = met.get(station.key) || 0, key = `${number} ${station.key}`;
        met.set(station.key, number + 1);
        seen.add(key);
        const button = buttons.get(key)?.button || make(key);
        const shown = section.nearest(at), spot = section.spot(shown, Haulage.at(route.railhead, shown)), inside = section.inside(at);
        buttons.set(key, { button, station, at, inside });
        button.className = `handle${station.fixed ? "" : " free"}${inside ? "" : " beyond"}`;
        button.style.left = `${spot.x}px`;
        button.style.top = `${spot.y}px`;
        const height = units.fine(hand.height(station));
        button.setAttribute("aria-label", `Railhead at ${called.get(station.key)}${station.fixed ? "" : ", not fixed by the plan"}`);
        button.setAttribute("aria-valuetext", height);
        button.setAttribute("aria-valuenow", String(hand.height(station)));
        button.title = `${called.get(station.key)}: ${height}`;
      }
      for (const [key, { button }] of buttons) {
        if (seen.has(key)) continue;
        button.remove();
        buttons.delete(key);
      }
      showTag();
    }

    return { place, get held() { return held !== null; } };
  }

  return { start, names };
})();

/* The stretch of a route that a long section shows: buttons, keys, the wheel, a drag and two fingers change it. */
const Zoom = (() => {
  const MOST = 64;  // times that a section can be enlarged
  const STILL = 4;  // dots: a pointer that goes no farther has clicked

  /* Puts the buttons after a figure and follows what is done to it. It needs the `length` of the route now [m], its
     `units`, `redraw()`, `placeAt(event)`, and `marked()`: the place at which buttons and keys zoom while it is seen, or
     null. `point(event)` is called for a place that is pointed at, with `hover` while a mouse only passes too. A pointer
     of which `holds(event)` is true does not drag the background. `changed()` comes some time after the last change. */
  function start(figure, { length, units, redraw, placeAt, point, marked, hover = false, holds = () => false, changed = () => {} }) {
    let from = 0, to = null, waiting = 0, later = 0;  // `to` is null while all of the route is shown
    const end = () => to ?? length(), wide = () => end() - from;

    const bar = document.createElement("p"), span = document.createElement("output");
    const buttons = [
      ["+", "Zoom in", () => by(2)], ["\u2212", "Zoom out", () => by(0.5)],
      ["\u2190", "Move left", () => move(-0.5)], ["\u2192", "Move right", () => move(0.5)],
      ["Show all", "Show the whole section", () => set(0, length())],
    ].map(([sign, words, act]) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: sign, title: words });
      button.setAttribute("aria-label", words);
      button.addEventListener("click", act);
      return button;
    });
    bar.className = "zoom screen";
    bar.setAttribute("role", "group");
    bar.setAttribute("aria-label", "Zoom of the long section");
    bar.append(...buttons, " ", span);
    figure.after(bar);
    figure.tabIndex = 0;

    let shown = "";

    function show() {
      const state = [from, to, length()].join();
      if (state === shown) return;  // drawing alone leaves the page around it as it is
      shown = state;
      const all = to === null, most = wide() <= length() / MOST * 1.001;
      [most, all, all || from <= 0, all || end() >= length(), all].forEach((off, k) => buttons[k].setAttribute("aria-disabled", String(off)));
      span.textContent = all ? "" : `${units().length(from)} to ${units().length(end())}`;
      figure.classList.toggle("zoomed", !all);
    }

    /* Takes a stretch as it can be shown, and says whether it is another one. */
    function take(first, last) {
      const all = length(), reach = Math.min(Math.max(last - first, all / MOST), all);
      const before = [from, to];
      from = Math.min(Math.max(0.5 * (first + last - reach), 0), all - reach);
      to = reach >= all * (1 - 1e-9) ? null : from + reach;
      if (to === null) from = 0;
      show();
      return from !== before[0] || to !== before[1];
    }

    function set(first, last) {
      if (!take(first, last)) return;
      waiting ||= requestAnimationFrame(() => { waiting = 0; redraw(); });
      clearTimeout(later);
      later = setTimeout(changed, 300);
    }

    /* Enlarges so many times, with a place kept where it stands. */
    function by(times, given = marked()) {
      const place = given !== null && given >= from && given <= end() ? given : from + wide() / 2;
      const least = length() / MOST, reach = Math.min(Math.max(wide() / times, least), length());
      const first = Math.min(Math.max(place - ((place - from) * reach) / wide(), 0), length() - reach);
      set(first, first + reach);
    }

    function move(share) {
      const first = Math.min(Math.max(from + share * wide(), 0), length() - wide());
      set(first, first + wide());
    }

    figure.addEventListener("keydown", (event) => {
      if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
      const everywhere = { "+": () => by(2), "=": () => by(2), "-": () => by(0.5), 0: () => set(0, length()) };
      const here = { ArrowLeft: () => move(-0.25), ArrowRight: () => move(0.25), Home: () => set(0, wide()), End: () => set(length() - wide(), length()) };
      const act = everywhere[event.key] || (event.target === figure && here[event.key]);
      if (!act) return;
      event.preventDefault();
      act();
    });

    figure.addEventListener("wheel", (event) => {
      const dots = event.deltaMode ? 16 : 1, [across, down] = [event.deltaX * dots, event.deltaY * dots];
      if (event.ctrlKey || event.metaKey) by(2 ** (-Math.min(Math.max(down, -50), 50) / 100), placeAt(event));
      else if (to !== null && (event.shiftKey || Math.abs(across) > Math.abs(down))) move((across || down) / figure.clientWidth);
      else return;
      event.preventDefault();
    }, { passive: false });

    // Pointers that are down: one points or drags the background, two zoom
    const held = new Map();
    let drag = null;

    const middle = () => [...held.values()].reduce((sum, x) => sum + x, 0) / held.size;
    const apart = () => Math.max(Math.abs([...held.values()].reduce((a, b) => a - b)), 20);

    /* Begins again from where the fingers are now. */
    function grab(event, pointing) {
      const at = held.size > 1 ? placeAt({ clientX: middle() }) : placeAt(event);
      drag = { x: middle(), at, wide: wide(), apart: held.size > 1 ? apart() : 0, pointing, moved: held.size > 1 || drag?.moved === true };
    }

    figure.addEventListener("pointerdown", (event) => {
      if (held.size > 1 || (event.pointerType === "mouse" && event.button !== 0)) return;
      figure.setPointerCapture(event.pointerId);
      held.set(event.pointerId, event.clientX);
      const pointing = held.size === 1 && (to === null || holds(event));
      if (held.size === 1) drag = null;
      grab(event, pointing);
      if (pointing) point(event);
    });
    figure.addEventListener("pointermove", (event) => {
      if (!held.has(event.pointerId)) {
        if (hover && !held.size && event.pointerType === "mouse") point(event);
        return;
      }
      held.set(event.pointerId, event.clientX);
      if (drag.pointing) {
        if (event.pointerType === "mouse" || to !== null) point(event);
        return;
      }
      drag.moved ||= Math.abs(middle() - drag.x) > STILL;
      if (!drag.moved) return;
      const reach = Math.min(Math.max(drag.apart ? (drag.wide * drag.apart) / apart() : drag.wide, length() / MOST), length());
      // the place that was taken stays under the hand
      const share = (placeAt({ clientX: middle() }) - from) / wide();
      const first = Math.min(Math.max(drag.at - share * reach, 0), length() - reach);
      set(first, first + reach);
    });
    const release = (event) => {
      if (!held.delete(event.pointerId)) return;
      if (held.size) return grab({ clientX: middle() }, false);
      if (event.type === "pointerup" && !drag.pointing && !drag.moved) point(event);
      drag = null;
      return undefined;
    };
    figure.addEventListener("pointerup", release);
    figure.addEventListener("pointercancel", release);
    show();

    return {
      /* The stretch that is shown, [from, to]; null where it is the whole route. */
      get stretch() { return to === null ? null : [from, to]; },
      /* Takes a stretch, or the whole route for null, without drawing: for whoever draws next. */
      take(stretch) { take(...(stretch || [0, length()])); },
      /* Moves on to a place that is not shown. */
      follow(place) {
        if (to === null || (place > from - 1e-9 && place < to + 1e-9)) return;
        const first = Math.min(Math.max(place - 0.5 * wide(), 0), length() - wide());
        set(first, first + wide());
      },
    };
  }

  return { start };
})();

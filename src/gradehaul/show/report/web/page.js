/* The page: reads its data, draws what comes into sight, and links what shows the same place. */
(() => {
  const data = JSON.parse(document.getElementById("report-data").textContent);
  for (const route of data.routes) route.railhead.breaks = route.effort.breaks;
  const teller = Telling.teller(data.units);
  const sections = new Map();
  const report = { data, teller, stock: Haulage.stockFrom(data.stock), run };
  const planView = PlanView.start(data, teller, (place, chosen) => pointed(place, chosen));

  // What lies at a place

  /* Everywhere else that the same spot of track is run over: on this route again, and on others. */
  function samePlaces(route, place) {
    const number = Haulage.trackNumber(route, place, true);
    const track = route.tracks[number];
    const along = track.forward ? place - route.starts[number] : route.starts[number + 1] - place;
    return { track: track.id, along, places: placesOn(track.id, along) };
  }

  function placesOn(id, along) {
    const places = [];
    for (const route of data.routes) {
      route.tracks.forEach((track, k) => {
        if (track.id !== id) return;
        places.push([route, track.forward ? route.starts[k] + along : route.starts[k + 1] - along]);
      });
    }
    return places;
  }

  function told(route, place) {
    // on a joint, rounding aside, the track ahead is told, and so are its grades
    const ahead = Math.min(place + 1e-9, Haulage.stop(route.effort));
    const slope = (f) => Haulage.at({ breaks: f.breaks, values: f.slopes, slopes: f.seconds, seconds: f.seconds.map(() => 0) }, ahead);
    const grade = slope(route.railhead), effective = slope(route.effort);
    const track = Words.name(Haulage.trackAt(route, place, place < Haulage.stop(route.effort)));
    return `At ${teller.length(place)}, on ${track}: railhead ${teller.length(Haulage.at(route.railhead, place))}, ` +
      `effective grade ${teller.grade(effective)} (grade ${teller.grade(grade)}, curves ${teller.grade(Math.max(effective - grade, 0))}).`;
  }

  // Linked

  let marked = [[], null];

  function markSections(places, chosen) {
    marked = [places, chosen];
    for (const [route, section] of sections) {
      const mine = places.find(([each]) => each === route);
      const place = chosen && chosen[0] === route ? chosen[1] : mine ? mine[1] : null;
      section.mark(place);
    }
  }

  /* A place on a route, shown wherever else it is. */
  function show(route, place) {
    const same = samePlaces(route, place);
    markSections(same.places, [route, place]);
    planView.mark(same);
  }

  /* A train with its head at a place of its route; null where it cannot run. */
  function run(running) {
    planView.run(running);
    if (running) show(running.route, running.head);
  }

  /* A place pointed at on the plan view; where it is chosen, a train made up for that route comes there. */
  function pointed(place, chosen) {
    const all = placesOn(place.track, place.along);
    if (chosen && workbench) for (const [route, at] of all) workbench.push(route, at);
    planView.mark(place);
    markSections(all, null);
  }

  // Sections of the routes

  function open(details) {
    const route = data.routes[Number(details.dataset.route)];
    const figure = details.querySelector("figure");
    const slider = details.querySelector("input[type=range]");
    const readout = details.querySelector("output");
    const draw = () => LongSection.draw(figure, route, teller, { title: `Long section of ${Words.kind(route)} ${route.name}` });
    let drawn = draw(), at = null;
    const section = {
      mark(place) {
        at = place;
        drawn.mark(place);
        if (place === null) return;
        slider.value = Math.round((1000 * place) / Haulage.stop(route.effort));
        const words = told(route, place);
        readout.textContent = words;
        slider.setAttribute("aria-valuetext", words);
      },
      redraw() { drawn = draw(); drawn.mark(at); },
    };
    sections.set(route, section);
    slider.addEventListener("input", () => show(route, (Number(slider.value) / 1000) * Haulage.stop(route.effort)));
    const point = (event) => show(route, drawn.placeAt(event.clientX));
    figure.addEventListener("pointerdown", point);
    figure.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse") point(event); });
  }

  function openWhenSeen() {
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) {
        if (!entry.isIntersecting) continue;
        seen.unobserve(entry.target);
        ready(entry.target.closest("details"));
      }
    }, { rootMargin: "300px" });
    for (const figure of document.querySelectorAll("details.route figure")) seen.observe(figure);
  }

  function ready(details) {
    if (details.dataset.drawn) return;
    details.dataset.drawn = "yes";
    open(details);
    markSections(...marked);
  }

  const openSections = () => document.querySelectorAll("details.route[open]").forEach(ready);

  Tables.start();
  const workbench = Workbench.start(report);
  openWhenSeen();

  let lastWidth = document.documentElement.clientWidth;
  window.addEventListener("resize", () => {
    if (document.documentElement.clientWidth === lastWidth) return;
    lastWidth = document.documentElement.clientWidth;
    for (const section of sections.values()) section.redraw();
    if (workbench) workbench.redraw();
    planView.redraw();
  });
  let closed = [];
  window.addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll(".trains details:not([open]), details.route:not([open])")];
    for (const details of closed) details.open = true;
    openSections();
  });
  window.addEventListener("afterprint", () => { for (const details of closed) details.open = false; });

  const cards = document.getElementById("print-cards");
  if (cards) {
    cards.addEventListener("click", () => {
      document.body.classList.add("cards-alone");
      window.print();
    });
    window.addEventListener("afterprint", () => document.body.classList.remove("cards-alone"));
  }
  document.documentElement.dataset.ready = "yes";
  performance.mark("ready");
})();

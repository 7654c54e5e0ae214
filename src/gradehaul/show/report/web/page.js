/* The page: reads its data, draws what comes into sight, and links what shows the same place. */
(() => {
  const data = JSON.parse(document.getElementById("report-data").textContent);
  const sections = new Map();

  // Linked

  let marked = [[], null];

  function markSections(places, chosen) {
    marked = [places, chosen];
    for (const [name, section] of sections) {
      const mine = places.find(([each]) => each.name === name);
      section.mark(chosen && chosen[0].name === name ? chosen[1] : mine ? mine[1] : null);
    }
  }

  /* A place on a route, shown wherever else it is. */
  function show(route, place) {
    const same = Places.same(desk.routes, route, place);
    markSections(same.places, [route, place]);
    desk.planView.mark(same);
  }

  /* A place pointed at on the plan view; where it is chosen, a train made up for that route comes there. */
  function pointed(place, chosen) {
    const all = Places.on(desk.routes, place.track, place.along);
    if (chosen && desk.workbench) for (const [route, at] of all) desk.workbench.push(route, at);
    markSections(all, null);
  }

  let running = null;
  const desk = Desk.start(data, {
    pointed,
    run(now) { running = now; if (now && sections.size) show(now.route, now.head); },
    refreshed() { for (const section of sections.values()) section.redraw(); },
  });
  const { units } = desk;

  // Sections of the routes

  function open(details) {
    const number = Number(details.dataset.route), { name } = desk.routes[number];
    const route = () => desk.routes[number];
    const figure = details.querySelector("figure");
    const slider = details.querySelector("input[type=range]");
    const readout = details.querySelector("output");
    let at = null;
    const zoom = Zoom.start(figure, {
      length: () => Haulage.stop(route().compensated),
      units: () => units,
      redraw: () => section.redraw(),
      placeAt: (event) => drawn.placeAt(event.clientX),
      point: (event) => show(route(), drawn.placeAt(event.clientX)),
      marked: () => at,
      hover: true,
    });
    function draw() {
      zoom.take(zoom.stretch);  // the route may have another length by now
      return LongSection.draw(figure, route(), units, { stretch: zoom.stretch, title: `Long section of ${Words.kind(route())} ${name}` });
    }
    let drawn = draw();
    const section = {
      mark(place) {
        at = place;
        drawn.mark(place);
        if (place === null) return;
        slider.value = Math.round((1000 * place) / Haulage.stop(route().compensated));
        const words = Places.words(route(), units, place);
        readout.textContent = words;
        slider.setAttribute("aria-valuetext", words);
      },
      redraw() { drawn = draw(); section.mark(at); },
    };
    sections.set(name, section);
    slider.addEventListener("input", () => {
      const place = (Number(slider.value) / 1000) * Haulage.stop(route().compensated);
      show(route(), place);
      zoom.follow(place);
    });
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
  if (running) show(running.route, running.head);
  openWhenSeen();

  let lastWidth = document.documentElement.clientWidth;
  window.addEventListener("resize", () => {
    if (document.documentElement.clientWidth === lastWidth) return;
    lastWidth = document.documentElement.clientWidth;
    for (const section of sections.values()) section.redraw();
    desk.workbench?.redraw();
    desk.planView.redraw();
  });
  let closed = [];
  window.addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details.route:not([open])")];
    for (const details of closed) details.open = true;
    openSections();
  });
  window.addEventListener("afterprint", () => { for (const details of closed) details.open = false; });

  document.documentElement.dataset.ready = "yes";
  performance.mark("ready");
})();

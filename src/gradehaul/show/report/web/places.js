/* Places on track: where else the same spot of track is run over, and what lies there. */
const Places = (() => {
  const slope = (f) => ({ breaks: f.breaks, values: f.slopes, slopes: f.seconds, seconds: f.seconds.map(() => 0) });

  function on(routes, id, along) {
    const places = [];
    for (const route of routes) {
      route.tracks.forEach((track, k) => {
        if (track.id !== id) return;
        places.push([route, track.forward ? route.starts[k] + along : route.starts[k + 1] - along]);
      });
    }
    return places;
  }

  /* Everywhere that the spot of track at a place of a route is run over: on this route again, and on others. */
  function same(routes, route, place) {
    const number = Haulage.trackNumber(route, place, true);
    const track = route.tracks[number];
    const along = track.forward ? place - route.starts[number] : route.starts[number + 1] - place;
    return { track: track.id, along, places: on(routes, track.id, along) };
  }

  function words(route, units, place) {
    // on a joint, rounding aside, the track ahead is shown, and so are its grades
    const ahead = Math.min(place + 1e-9, Haulage.stop(route.compensated));
    const grade = Haulage.at(slope(route.railhead), ahead), effective = Haulage.at(slope(route.compensated), ahead);
    const track = Words.name(Haulage.trackAt(route, place, place < Haulage.stop(route.compensated)));
    return `At ${units.length(place)}, on ${track}: railhead ${units.railhead(Haulage.at(route.railhead, place))}, ` +
      `effective grade ${units.grade(effective)} (grade ${units.grade(grade)}, curves ${units.grade(Math.max(effective - grade, 0))}).`;
  }

  return { on, same, words, slope };
})();

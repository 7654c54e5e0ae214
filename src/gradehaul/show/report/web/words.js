/* A verdict in words: the same sentences as show/outcome_words. */
const Words = (() => {
  const TO_LEFT = /[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]/;

  /* A name kept apart from the words around it where it is written from right to left. */
  const name = (text) => (TO_LEFT.test(text) ? `\u2068${text}\u2069` : text);

  function stretch(route, units, [from, to]) {
    const first = Haulage.trackAt(route, from, true), last = Haulage.trackAt(route, to);
    const under = first === last || to <= from ? `on ${name(first)}` : `${name(first)} to ${name(last)}`;
    const [start, stop] = [units.length(from), units.length(to)];
    return start === stop ? `at ${start}, ${under}` : `from ${start} to ${stop}, ${under}`;
  }

  /* `outcomes` has the sentences of show/outcome_words, with places to fill in. */
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);

  function verdict(route, units, found, misfits, outcomes) {
    const say = (key, values) => fill(outcomes.sentences[key], values);
    const where = (list) => list.map((each) => stretch(route, units, each)).join("; ");
    const head = (at, track) => say("head", { at: units.length(at), track: name(track) });
    const values = { head: head(found.at, found.track), where: where(found.stalling) };
    const uphill = [say(found.climb, values)];
    if (found.climb === "marginal") {
      for (const [key, list] of [["no stopping", found.noStopping], ["no recovery", found.noRecovery]]) {
        if (list.length) uphill.push(say(key, { where: where(list) }));
      }
    }
    const away = found.runningAway.length > 0;
    const downhill = [say(away ? "runs away" : "held back", { where: where(found.runningAway) })];
    const why = found.climb === "stalls" && found.spareBy !== "hold" ? "stand" : found.spareBy;
    const which = found.spare >= 0 ? "spare" : `${why} short`;
    const spare = say(which, {
      spare: units.force(found.spare), lacks: units.force(-found.spare), head: head(found.spareAt, found.spareTrack),
    });
    const room = misfits.map((each) => say(each.runRound ? "run-round" : "too long",
      { length: units.length(each.length), room: name(each.place), holds: units.length(each.available) }));
    if (found.climb === "stalls") return [...uphill, spare, ...downhill, ...room];
    if (away) return [...downhill, spare, ...room, say("uphill", { words: uphill.join(" ") })];
    return [...room, ...uphill, spare, ...downhill];
  }

  /* An outcome as it is shown: of a train that has nothing to climb another word. */
  const shown = (outcome, uphill) => (outcome === "climbs" && !uphill ? "held back" : outcome);

  /* The worst of some outcomes. */
  const worst = (outcomes, list) => outcomes.worst_first.find((each) => list.includes(each)) || "climbs";

  const basis = (found) =>
    found.basis === found.slippingBasis ? found.basis : `${found.basis}, slipping ${found.slippingBasis}`;

  /* What a run over track in one direction is called: a route, or a leg of one with reversals. */
  const kind = (route) => (route.whole === route.name ? "route" : "leg");

  /* On which rails a verdict holds, behind it. */
  const on = (condition) => {
    const [, name, age = ""] = condition.match(/^(.*?)( at \S+ h)?$/);
    return name.endsWith("everywhere") ? `with ${condition}` : name.startsWith("as ") ? condition : `on ${name} rail${age}`;
  };

  return { name, verdict, shown, worst, basis, kind, on };
})();

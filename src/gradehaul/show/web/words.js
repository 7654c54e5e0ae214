/* A verdict in words: the same sentences as show/report_words. */
const Words = (() => {
  const TO_LEFT = /[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]/;

  /* A name kept apart from the words around it where it is written from right to left. */
  const name = (text) => (TO_LEFT.test(text) ? `\u2068${text}\u2069` : text);

  function stretch(route, teller, [from, to]) {
    const first = Haulage.trackAt(route, from, true), last = Haulage.trackAt(route, to);
    const under = first === last || to <= from ? `on ${name(first)}` : `${name(first)} to ${name(last)}`;
    const [start, stop] = [teller.length(from), teller.length(to)];
    return start === stop ? `at ${start}, ${under}` : `from ${start} to ${stop}, ${under}`;
  }

  function verdict(route, teller, told) {
    const stretches = (list) => list.map((each) => stretch(route, teller, each)).join("; ");
    const head = `with its head at ${teller.length(told.at)} on ${name(told.track)}`;
    const sentences = [];
    if (told.outcome === "stalls") {
      sentences.push(`It gets no further than ${head}: at the worst it lacks ${teller.force(-told.margin)}.`);
      sentences.push(`It asks more than it has ${stretches(told.stalling)}.`);
    } else if (told.outcome === "marginal") {
      sentences.push(`It gets through only as long as the wheels never slip: ${teller.force(told.margin)} to spare where it is least, ${head}.`);
      if (told.noStopping.length) sentences.push(`It must not stop, since it would not start again, ${stretches(told.noStopping)}.`);
      if (told.noRecovery.length) sentences.push(`It would not recover from a slip ${stretches(told.noRecovery)}.`);
    } else {
      sentences.push(`It gets through even if the wheels slip, with ${teller.force(told.margin)} to spare where it is least, ${head}.`);
      sentences.push("It can stop and start again anywhere.");
    }
    if (told.holdsBack) sentences.push("Downhill it holds back.");
    else {
      const track = name(Haulage.trackAt(route, told.runsAwayAt, true));
      sentences.push(`Downhill it runs away: the cars push the locomotives, first with its head at ${teller.length(told.runsAwayAt)} on ${track}.`);
    }
    return sentences;
  }

  const basis = (told) =>
    told.basis === told.slippingBasis ? told.basis : `${told.basis}, slipping ${told.slippingBasis}`;

  /* What a run over track in one direction is called: a route, or a leg of one with reversals. */
  const kind = (route) => (route.whole === route.name ? "route" : "leg");

  return { name, stretch, verdict, basis, kind };
})();

/* The outcome of every train on the rail conditions that are compared: by the same rules as haulage/answers/judged. */
const Outcomes = (() => {
  /* The worst of some verdicts: by outcome, then by the pull to spare. */
  function worst(outcomes, verdicts) {
    const rank = (each) => outcomes.worst_first.indexOf(each.outcome);
    return verdicts.reduce((low, each) => (rank(each) < rank(low) || (rank(each) === rank(low) && each.spare_n < low.spare_n) ? each : low));
  }

  /* A train on all legs of its route on one rail condition. */
  function onRail(data, stock, routes, named, rail) {
    const legs = routes.filter((route) => route.whole === named.route);
    if (!legs.length) return null;
    const judged = legs.map((leg) => {
      const train = Haulage.madeUp(stock, named.consist, named.together, leg.run_rounds, leg.run_rounds_turn);
      const verdict = Haulage.judge(leg, train, rail);
      return { outcome: verdict.outcome, spare_n: verdict.spare, at_m: verdict.spareAt, track: verdict.spareTrack };
    });
    const { spare_n, at_m, track } = judged.reduce((low, each) => (each.spare_n < low.spare_n ? each : low));
    const tooLong = Haulage.misfits(legs[0], stock, named.consist, named.together).length > 0;
    const outcome = Words.worst(data.outcomes, [...judged.map((each) => each.outcome), ...(tooLong ? ["too long"] : [])]);
    return { name: named.name, rail, outcome, spare_n, at_m, track, uphill: Haulage.goesUp(legs) };
  }

  /* A train at its worst on a condition, with the least pull to spare of any of its rails; null where its route is not
     answered. */
  function ofTrain(data, stock, condition, named) {
    const all = condition.rails.map((rail) => onRail(data, stock, condition.routes, named, rail)).filter((each) => each);
    if (!all.length) return null;
    const { spare_n, at_m, track } = all.reduce((low, each) => (each.spare_n < low.spare_n ? each : low));
    return { ...worst(data.outcomes, all), spare_n, at_m, track };
  }

  function node(tag, cls, ...children) {
    const made = document.createElement(tag);
    if (cls) made.className = cls;
    made.append(...children);
    return made;
  }

  /* A head: what the column is, and smaller what stands in it. */
  const head = (words, more = "", cls = "") =>
    Object.assign(node("th", cls, words, ...(more ? [node("br"), node("small", "", more)] : [])), { scope: "col" });

  /* The pull to spare; none where no pull helps: a train that is too long. */
  const spare = (units, found) => (found.outcome === "too long" ? "–" : units.force(found.spare_n));

  /* A cell with what its column is, which a narrow page shows before it. */
  function under(words, cell) {
    cell.dataset.head = words;
    return cell;
  }

  /* An outcome with the pull to spare and the risk where it is known, neither where the train does not fit; and below it
     what it was before where that differs. */
  function result(units, before, found) {
    const word = node("strong", `outcome ${found.outcome.replace(" ", "-")}`, Words.shown(found.outcome, found.uphill));
    const risk = found.risk ? [", ", node("span", "risk", found.risk)] : [];
    const now = found.outcome === "too long" ? [] : [" ", node("span", "figure", node("span", "spare", spare(units, found)), ...risk)];
    const was = changed(units, found) ? [node("small", "was", `${before} ${Words.shown(found.was.outcome, found.was.uphill)} ${spare(units, found.was)}`)] : [];
    return [word, ...now, ...was];
  }

  const changed = (units, found) =>
    found?.was && (found.was.outcome !== found.outcome || spare(units, found.was) !== spare(units, found));

  /* Fills a table: a row for each train, with what it is on each condition. The row of the train that the reader made up
     has no name. */
  function show(table, units, outcomes, { was: before, names, rows }, chosen, choose) {
    const [body] = table.tBodies;
    const focused = document.activeElement && body.contains(document.activeElement) ? document.activeElement.textContent : null;
    table.tHead.replaceChildren(node("tr", "",
      head("Train"), ...names.map((name) => head(name, "to spare, risk")), head("Place", "", "hardest")));
    body.replaceChildren(...rows.map(({ name, found }) => {
      const button = Object.assign(node("button", name ? "" : "own", name || "your own train"), { type: "button" });
      button.setAttribute("aria-pressed", String(name === chosen));
      button.addEventListener("click", () => choose(name));
      const answered = found.filter(Boolean);
      return node("tr", answered.some((each) => changed(units, each)) ? "changed" : "",
        Object.assign(node("th", "", button), { scope: "row" }),
        ...found.map((each, k) => under(names[k], node("td", "", ...(each ? result(units, before, each) : ["its route cannot be run"])))),
        under("Place", node("td", "hardest", answered.length ? worst(outcomes, answered).track : "")));
    }));
    if (focused !== null) [...body.querySelectorAll("button")].find((each) => each.textContent === focused)?.focus();
  }

  return { ofTrain, onRail, worst, show };
})();

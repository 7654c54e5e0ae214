/* The plan view: tracks where they lie, linked with the long sections. */
const PlanView = (() => {
  function start() {
    return { mark() {}, redraw() {} };
  }
  return { start };
})();

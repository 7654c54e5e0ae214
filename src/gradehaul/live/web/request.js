/* Requests to the program; where one is refused, the words why are the error. */
const Program = (() => {
  async function request(what, options) {
    let answer;
    try {
      answer = await fetch(what, options);
    } catch {
      throw new Error("The program does not answer: it has ended, or the connection is lost.");
    }
    const type = answer.headers.get("content-type") || "";
    const answered = type.startsWith("application/json") ? await answer.json() : { wrong: await answer.text() };
    if (!answer.ok) throw new Error(answered.wrong || answer.statusText);
    return answered;
  }

  const post = (what, body) =>
    request(what, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });

  return { request, post };
})();

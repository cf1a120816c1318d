// Has <look-why> ask, as it does after a look, five points with long words, or what decided it, or a second question.

window.ask = (kind) => {
  const text = "Nearer the goal line than the second-last opponent, and then in the play or in an opponent's way";
  const points = [1, 2, 3, 4, 5].map((n) => ({
    id: `point-${n}`,
    kind: n > 3 ? "exception" : "element",
    number: n,
    text: `${text} (${n})`,
    when: n === 2 ? "Any time before" : "At the decisive moment",
    counts: "Head, body and feet",
    does_not_count: "Arms and hands",
  }));
  const second = {
    question: "Whose restart is it, and from where is it taken?",
    answers: ["to the attack", "to the defence"],
  };
  for (const part of document.querySelectorAll("[data-show]")) part.hidden = !part.dataset.show.includes("why");
  document.querySelector("one-look").dataset.view = "why";
  const why = document.querySelector("look-why");
  why.ask("flag", "Flag", { points, whole: kind === "each", second: kind === "second" ? second : null });
  if (kind === "second") why.querySelector("[data-part=points] button").click();
};

// A conversation opens at its newest text; a choice shows at once; Enter sends.
for (const talk of document.querySelectorAll(".talk")) talk.scrollTop = talk.scrollHeight;
for (const choice of document.querySelectorAll("select[data-go]")) {
  choice.addEventListener("change", () => choice.form.requestSubmit());
  choice.parentElement.querySelector("button").hidden = true;
}
for (const text of document.querySelectorAll("textarea")) {
  text.addEventListener("keydown", (e) => {
    if (e.key === "Enter" && !e.shiftKey && !e.isComposing && text.value.trim() !== "") {
      e.preventDefault();
      text.form.requestSubmit();
    }
  });
}

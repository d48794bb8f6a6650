// Two buttons: take home what was done, bring it back. All that is decided is decided in Python.
function render({ model, el }) {
  el.className = "eqlib-sheet";
  el.innerHTML = `<div class="go" style="border:0">
    <button type="button" data-lm-suppress-shortcuts="true">Take home what I did</button>
    <label>Bring it back: <input type="file" accept=".zip" data-lm-suppress-shortcuts="true"></label></div>
    <div role="status" class="state"></div>`;
  const [button, file, said] = ["button", "input", '[role="status"]'].map((what) => el.querySelector(what));
  const tell = () => {
    said.replaceChildren(...model.get("said").map((line) => Object.assign(document.createElement("p"), { textContent: line })));
  };
  const arrived = (content, buffers) => {
    if (!content.name) return;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([buffers[0]], { type: "application/zip" }));
    link.download = content.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };
  button.addEventListener("click", () => model.send({ want: "zip" }));
  file.addEventListener("change", async () => {
    if (file.files.length) model.send({ want: "back" }, undefined, [await file.files[0].arrayBuffer()]);
  });
  model.on("change:said", tell);
  model.on("msg:custom", arrived);
  tell();
  return () => { model.off("change:said", tell); model.off("msg:custom", arrived); };
}
export default { render };

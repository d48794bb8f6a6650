// A sheet: named sections of HTML that Python made. This file draws them, says what a person did, and plays
// films; it decides nothing. `page` is {sections: [[name, html]], say: {key: text}, film: {id, play, frames}}.

const PATIENCE = 8000; // ms
const FIELDS = "input[name], select[name], textarea[name]";

function render({ model, el }) {
  el.classList.add("eqlib-sheet");
  const shown = new Map(); // section name -> the html that stands there
  let held = false; // the pointer is down on a control: nothing may move until it is up
  let busy = false; // a slider's last move is being worked out
  let next = null; // its newest move meanwhile
  let timer = 0; // until what is being typed is sent
  let played = null;
  let rerun = null;
  let silence = 0; // until a message without an answer means that nobody listens
  let pressed = null; // {target, x, y} of a press that has not been released
  let sent = 0; // messages sent, and the last one that Python has answered
  let heard = 0;
  const dirty = new Map(); // field -> number of the message that tells what was last done to it
  const clocks = [];

  const values = () => {
    const found = {};
    for (const field of el.querySelectorAll(FIELDS)) {
      if (field.type === "radio") found[field.name] = field.checked ? field.value : found[field.name] ?? null;
      else if (field.type === "checkbox") found[field.name] = field.checked;
      else if (field.type === "range") found[field.name] = Number(field.value);
      else found[field.name] = field.value;
    }
    return found;
  };
  // Python says "heard" to everything. A panel whose kernel is gone must not look as if it could hear: without that word
  // it steps back, what the notebook keeps of the answer comes forward, and says how to go on.
  const running = (yes) => {
    clearTimeout(silence);
    silence = 0;
    el.classList.toggle("eqlib-silent", !yes);
  };
  const unheard = () => {
    silence = 0;
    // Cells that still run keep the kernel from answering: that is no silence.
    if (el.closest(".jp-NotebookPanel, body")?.querySelector('[data-status="busy"]')) silence = setTimeout(unheard, PATIENCE);
    else running(false);
  };
  const send = (message) => {
    if (!silence) silence = setTimeout(unheard, PATIENCE);
    sent += 1;
    try {
      model.send({ ...message, number: sent });
    } catch {
      running(false); // the kernel was restarted: there is nobody at the other end
    }
  };
  const tell = (what, more = {}) => send({ what, values: values(), ...more });

  // -- drawing --------------------

  const place = (name) => {
    let section = el.querySelector(`:scope > [data-section="${name}"]`);
    if (!section) {
      section = document.createElement("div");
      section.dataset.section = name;
    }
    return section;
  };
  const focused = () => {
    const at = document.activeElement;
    if (!el.contains(at)) return "";
    if (at.dataset.do) return `[data-do="${at.dataset.do}"]`;
    return at.name ? `[name="${at.name}"]` + (at.type === "radio" ? `[value="${CSS.escape(at.value)}"]` : "") : "";
  };
  // What was typed or chosen since Python last listened stands, whatever is drawn meanwhile.
  const untold = (section) =>
    [...section.querySelectorAll(FIELDS)]
      .filter((field) => dirty.get(field.name) > heard && field.type !== "file")
      .map((field) => ({ name: field.name, type: field.type, value: field.value, checked: field.checked,
        caret: field === document.activeElement && field.type === "text" ? [field.selectionStart, field.selectionEnd] : null }));
  const put_back = (section, { name, type, value, checked, caret }) => {
    const twins = [...section.querySelectorAll(FIELDS)].filter((field) => field.name === name);
    const field = type === "radio" ? twins.find((twin) => twin.value === value) : twins[0];
    if (!field) return;
    if (type === "radio" || type === "checkbox") field.checked = checked;
    else field.value = value;
    if (caret === null) return;
    field.focus({ preventScroll: true });
    field.setSelectionRange(...caret);
  };
  const draw = () => {
    if (held) return;
    const page = model.get("page");
    const at = focused();
    const names = page.sections.map(([name]) => name);
    for (const old of [...el.children]) {
      if (!names.includes(old.dataset.section)) {
        shown.delete(old.dataset.section);
        old.remove();
      }
    }
    page.sections.forEach(([name, html], number) => {
      const section = place(name);
      if (el.children[number] !== section) el.insertBefore(section, el.children[number] ?? null);
      if (shown.get(name) === html) return;
      const mine = untold(section);
      section.innerHTML = html;
      shown.set(name, html);
      for (const field of mine) put_back(section, field);
    });
    for (const [key, text] of Object.entries(page.say)) {
      for (const line of el.querySelectorAll(`[data-say="${key}"]`)) {
        if (line.textContent !== text) line.textContent = text;
      }
    }
    for (const button of el.querySelectorAll("[data-do]")) button.disabled = page.off.includes(button.dataset.do);
    if (at && !el.contains(document.activeElement)) el.querySelector(at)?.focus({ preventScroll: true });
    if (page.film) play(page.film);
    if (page.focus && page.focus.id !== el.dataset.focus) {
      el.dataset.focus = page.focus.id;
      const here = document.activeElement; // whoever has gone on to a field, or to another panel, stays there
      const waiting = !here || here === document.body || (el.contains(here) && !here.matches(FIELDS));
      if (page.focus.on && waiting) el.querySelector(page.focus.on)?.focus({ preventScroll: true });
    }
    if (page.rerun && page.rerun !== rerun) {
      rerun = page.rerun;
      runCell(el);
    }
    busy = false;
    if (next) slide();
  };

  // -- films --------------------

  const put = (frame) => {
    for (const [id, attributes] of Object.entries(frame)) {
      for (const part of el.querySelectorAll(`[data-film] [data-id="${CSS.escape(id)}"]`)) {
        for (const [name, value] of Object.entries(attributes)) {
          if (name === "text") part.textContent = value;
          else part.setAttribute(name, value);
        }
      }
    }
  };
  const play = (film) => {
    if (film.id === played) return;
    played = film.id;
    clocks.splice(0).forEach(clearTimeout);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (!film.play || still) {
      put(film.frames.at(-1).set);
      if (film.play) tell("over");
      return;
    }
    let when = 0;
    for (const { ms, set } of film.frames) {
      clocks.push(setTimeout(() => put(set), when));
      when += ms;
    }
    clocks.push(setTimeout(() => tell("over"), when));
  };

  // -- what a person does --------------------

  const slide = () => {
    busy = true;
    send(next);
    next = null;
  };
  const changed = () => {
    clearTimeout(timer);
    timer = 0;
    tell("set");
  };
  el.addEventListener("input", (event) => {
    const field = event.target;
    dirty.set(field.name, sent + 1);
    if (field.type === "range") {
      next = { what: "slide", values: values(), name: field.name };
      if (!busy) slide();
    } else if (field.matches("input:not([type=radio]):not([type=checkbox]), textarea")) {
      clearTimeout(timer);
      timer = setTimeout(changed, 150);
    }
  });
  el.addEventListener("change", (event) => {
    if (event.target.matches("[type=radio], [type=checkbox], select")) {
      if (event.target.dataset.slide) {
        next = { what: "slide", values: values(), name: event.target.name };
        if (!busy) slide();
      } else changed();
    } else if (event.target.dataset.into) {
      const field = el.querySelector(`[name="${CSS.escape(event.target.dataset.into)}"]`);
      event.target.files[0]?.text().then((table) => {
        field.value = table;
        changed();
      });
    } else if (timer) changed();
  });
  el.addEventListener("click", (event) => {
    pressed = null;
    const button = event.target.closest("[data-do]");
    if (!button || button.disabled) return;
    clearTimeout(timer);
    timer = 0;
    if (button.dataset.do === "skip") clocks.splice(0).forEach(clearTimeout);
    if (button.dataset.do === "again") return runCell(el);
    tell(button.dataset.do);
  });
  el.addEventListener("keydown", (event) => {
    const plain = event.target.matches?.("input:not([type=radio]):not([type=range]):not([type=checkbox])");
    if (event.key === "Enter" && plain) el.querySelector("[data-do=record]")?.click();
    // JupyterLab keeps a plain Enter to itself, also inside a field of several lines.
    if (event.key === "Enter" && event.target.matches?.("textarea") && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      event.stopPropagation();
      const field = event.target;
      field.setRangeText("\n", field.selectionStart, field.selectionEnd, "end");
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  });
  // A press counts where it began: what is drawn, or the page that scrolls, between press and release takes
  // no click away. A pointer that itself moved off has changed its mind.
  el.addEventListener("pointerdown", (event) => {
    const target = event.target.closest("button, label, summary, [type=radio]");
    if (!target || event.button > 0) return;
    held = true;
    pressed = { target, x: event.clientX, y: event.clientY };
  });
  const release = (event) => {
    if (!held) return;
    setTimeout(() => {
      held = false; // the click, where the browser made one, has come by now
      const lost = pressed;
      pressed = null;
      if (lost && event.type === "pointerup" && Math.hypot(event.clientX - lost.x, event.clientY - lost.y) < 6) lost.target.click();
      draw();
    }, 0);
  };
  window.addEventListener("pointerup", release);
  window.addEventListener("pointercancel", release);
  el.addEventListener("keydown", (event) => {
    if (event.key === " " && event.target.matches("button, summary")) held = true; // a click on release, too
  });
  window.addEventListener("keyup", release);

  const answered = (message) => {
    if (!message.heard) return;
    heard = Math.max(heard, message.heard);
    running(true);
  };
  model.on("msg:custom", answered);
  model.on("change:page", draw);
  draw();
  tell("shown", { page: performance.timeOrigin }); // the same for all sheets of one page
  return () => {
    model.off("msg:custom", answered);
    model.off("change:page", draw);
    clearTimeout(silence);
    window.removeEventListener("pointerup", release);
    window.removeEventListener("pointercancel", release);
    window.removeEventListener("keyup", release);
    clocks.splice(0).forEach(clearTimeout);
    clearTimeout(timer);
  };
}

// After the page was loaded again, what is recorded no longer reaches the notebook's file until this cell has
// run again. The page's own button does that; it needs the cell to be the chosen one.
function runCell(el) {
  const cell = el.closest(".jp-Cell");
  cell?.dispatchEvent(new MouseEvent("mousedown", { bubbles: true, button: 0 }));
  cell?.dispatchEvent(new MouseEvent("mouseup", { bubbles: true, button: 0 }));
  const panel = el.closest(".jp-NotebookPanel") ?? document;
  const press = new MouseEvent("mousedown", { bubbles: true, cancelable: true, button: 0 }); // what its button hears
  setTimeout(() => panel.querySelector('[data-command="notebook:run-cell-and-select-next"]')?.dispatchEvent(press), 60);
}

export default { render };

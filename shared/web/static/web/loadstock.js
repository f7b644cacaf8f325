/* Loadstock's own behaviours, all asked for by data- attributes; every page works without them. */
"use strict";

(() => {
  const make = (name, props = {}) => Object.assign(document.createElement(name), props);
  const each = (root, selector, act) => {
    if (root.matches && root.matches(selector)) act(root);
    root.querySelectorAll(selector).forEach(act);
  };
  /* Runs once per element, also when htmx brings it in again. */
  const once = (element, key) => {
    if (element.dataset[key]) return false;
    element.dataset[key] = "yes";
    return true;
  };

  /* --- ask before what cannot be undone -------------------------------------------------- */
  const ask = (question, yes) =>
    new Promise((answer) => {
      const dialog = make("dialog", { className: "ask" });
      const text = make("p", { textContent: question, id: "ask-question" });
      const row = make("div", { className: "actions" });
      const go = make("button", { type: "button", className: "button button--danger", textContent: yes });
      const stay = make("button", { type: "button", className: "button", textContent: "Leave it as it was" });
      dialog.setAttribute("aria-labelledby", "ask-question");
      row.append(go, stay);
      dialog.append(text, row);
      document.body.append(dialog);
      const close = (value) => {
        dialog.close();
        dialog.remove();
        answer(value);
      };
      go.addEventListener("click", () => close(true));
      stay.addEventListener("click", () => close(false));
      dialog.addEventListener("cancel", () => close(false));
      dialog.showModal();
      stay.focus();
    });

  const confirmed = new WeakSet();
  document.addEventListener(
    "submit",
    async (event) => {
      const form = event.target;
      const asker = event.submitter && event.submitter.dataset.confirm ? event.submitter : form;
      if (!asker.dataset.confirm || confirmed.has(form)) {
        confirmed.delete(form);
        return;
      }
      event.preventDefault();
      event.stopImmediatePropagation();
      const submitter = event.submitter;
      if (await ask(asker.dataset.confirm, asker.dataset.confirmYes || "Yes, do it")) {
        confirmed.add(form);
        form.requestSubmit(submitter);
      }
    },
    true,
  );

  /* --- one submit at a time -------------------------------------------------------------- */
  const release = (form) => {
    delete form.dataset.busy;
    form.classList.remove("is-busy");
    form.querySelectorAll("[type=submit]").forEach((button) => button.removeAttribute("aria-disabled"));
  };
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-once]") || event.defaultPrevented) return;
    if (form.dataset.busy) {
      event.preventDefault();
      return;
    }
    form.dataset.busy = "yes";
    form.classList.add("is-busy");
    form.querySelectorAll("[type=submit]").forEach((button) => button.setAttribute("aria-disabled", "true"));
  });
  /* The back button may bring a page back as it was left. */
  window.addEventListener("pageshow", () => document.querySelectorAll("form[data-once]").forEach(release));
  document.addEventListener("htmx:afterRequest", (event) => {
    const form = event.target.closest && event.target.closest("form[data-once]");
    if (form) release(form);
  });

  /* --- numbers with cold hands ----------------------------------------------------------- */
  const decimalsOf = (text) => (String(text).split(".")[1] || "").length;
  const say = (input) => {
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const nameOf = (input) => (input.labels && input.labels[0] ? input.labels[0].textContent.trim() : "value");

  const addStepper = (input) => {
    if (!once(input, "stepped")) return;
    const step = Number(input.dataset.stepper) || 1;
    const decimals = Math.max(decimalsOf(input.dataset.stepper), 0);
    const box = make("div", { className: "stepper" });
    const button = (sign, word) => {
      const made = make("button", { type: "button", className: "button", textContent: sign });
      made.setAttribute("aria-label", `${word} ${nameOf(input)} by ${step}`);
      made.addEventListener("click", () => {
        const now = Number(String(input.value).replace(",", ".")) || 0;
        const next = now + (sign === "+" ? step : -step);
        const low = input.min === "" ? -Infinity : Number(input.min);
        const high = input.max === "" ? Infinity : Number(input.max);
        input.value = Math.min(Math.max(next, low), high).toFixed(Math.max(decimals, decimalsOf(input.value)));
        say(input);
      });
      return made;
    };
    /* The buttons take their names from the label, so they are made while the field still stands beside it. */
    const [lower, raise] = [button("\u2212", "lower"), button("+", "raise")];
    input.replaceWith(box);
    box.append(lower, input, raise);
  };

  const addKeypad = (input) => {
    if (!once(input, "keyed")) return;
    const pad = make("div", { className: "keypad" });
    pad.setAttribute("role", "group");
    pad.setAttribute("aria-label", `Number pad for ${nameOf(input)}`);
    ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "\u232B"].forEach((key) => {
      const button = make("button", { type: "button", className: "button", textContent: key });
      if (key === "\u232B") button.setAttribute("aria-label", "delete the last figure");
      if (key === ".") button.setAttribute("aria-label", "decimal point");
      button.addEventListener("click", () => {
        /* A number field drops "12." while it is typed, so what was typed is kept beside it. */
        let typed = input.dataset.typed && Number(input.dataset.typed) === Number(input.value) ? input.dataset.typed : input.value;
        if (key === "\u232B") typed = typed.slice(0, -1);
        else if (key !== "." || !typed.includes(".")) typed += key;
        input.dataset.typed = typed;
        input.value = typed.endsWith(".") ? typed.slice(0, -1) : typed;
        say(input);
      });
      pad.append(button);
    });
    const field = input.closest(".field__input") || input.closest(".stepper") || input;
    field.after(pad);
  };

  /* --- tables ---------------------------------------------------------------------------- */
  const addFilter = (input) => {
    if (!once(input, "filtering")) return;
    const table = document.getElementById(input.dataset.filter);
    if (!table) return;
    const count = input.dataset.filterCount && document.getElementById(input.dataset.filterCount);
    const apply = () => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      const rows = [...table.querySelectorAll("tbody > tr")];
      let left = 0;
      rows.forEach((row) => {
        const text = row.textContent.toLowerCase();
        row.hidden = !words.every((word) => text.includes(word));
        if (!row.hidden) left += 1;
      });
      if (count) count.textContent = words.length ? `${left} of ${rows.length} rows` : `${rows.length} rows`;
    };
    input.addEventListener("input", apply);
    apply();
  };

  /* --- drawings larger and smaller --------------------------------------------------------- */
  const SCALES = 4;
  const addZoom = (figure) => {
    const view = figure.querySelector(".feed");
    if (!view || !once(figure, "zoomed")) return;
    const row = make("div", { className: "zoom" });
    const name = view.getAttribute("aria-label") || "the drawing";
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", `Size of the drawing: ${name}`);
    const set = (scale) => {
      view.dataset.scale = scale;
      smaller.disabled = scale === 0;
      larger.disabled = scale === SCALES - 1;
    };
    const button = (sign, word, by) => {
      const made = make("button", { type: "button", className: "button", textContent: sign });
      made.setAttribute("aria-label", word);
      made.addEventListener("click", () => set(Number(view.dataset.scale || 0) + by));
      row.append(made);
      return made;
    };
    const smaller = button("\u2212", "Draw it smaller", -1);
    const larger = button("+", "Draw it larger", 1);
    set(0);
    view.before(row);
  };

  /* --- tabs: the one that is open stands in sight on a narrow screen ------------------------ */
  const showTab = (link) => {
    const tabs = link.closest(".tabs");
    const [box, own] = [tabs.getBoundingClientRect(), link.getBoundingClientRect()];
    tabs.scrollLeft += own.left - box.left - (box.width - own.width) / 2;
  };

  /* --- start, and again for what htmx swaps in ------------------------------------------- */
  const start = (root) => {
    each(root, "input[data-stepper]", addStepper);
    each(root, "input[data-keypad]", addKeypad);
    each(root, "input[data-filter]", addFilter);
    each(root, "figure[data-zoom]", addZoom);
    each(root, ".tabs [aria-current]", showTab);
    each(root, "[data-focus]", (element) => element.focus());
    each(root, "input[data-scan]", (input) => {
      input.focus();
      input.select();
    });
  };
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) window.print();
  });
  document.addEventListener("DOMContentLoaded", () => start(document));
  document.addEventListener("htmx:load", (event) => start(event.detail.elt));
})();

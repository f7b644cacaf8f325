/* The event page: what a scanned battery is said of at once, also without the server, and keys of a scanner that type
   while no field is chosen. The page works without this file; the server then says the same after the tap. */
"use strict";

(() => {
  const plain = (text) => text.toUpperCase().replace(/[^A-Z0-9]/g, "");
  const volts = (text) => Number(String(text).replace(",", "."));

  /* The page carries what is known of every battery for the next match; the live part renews it. */
  const known = () => {
    const place = document.getElementById("pit-known");
    return place ? { list: JSON.parse(place.dataset.known), low: Number(place.dataset.lowV) } : { list: [], low: 0 };
  };
  const find = (list, text) => {
    const typed = plain(text);
    const literal = list.filter((one) => one.code.toUpperCase() === text.trim().toUpperCase());
    const fits = list.filter((one) => [one.code, one.label].some((name) => plain(name) === typed));
    return literal.length === 1 ? literal[0] : fits.length === 1 ? fits[0] : null;
  };

  const say = (form) => {
    const place = form.querySelector("#swap-said");
    const [code, start] = [form.elements.code.value, form.elements.start_rest_v.value];
    const although = form.querySelector("#swap-although");
    const box = although.querySelector("input");
    const { list, low } = known();
    const one = code.trim() ? find(list, code) : null;
    const cautions = one ? [...one.cautions] : [];
    if (code.trim() && !one) cautions.push({ weight: "fix", sentence: `No battery of this cart is called ${code.trim()}.` });
    if (start && volts(start) < low && volts(start) > 1) {
      cautions.push({ weight: "fix", sentence: `${volts(start)} V at rest is not a charged battery.` });
    }
    if (start && volts(start) >= 100) {
      cautions.push({ weight: "fix", sentence: `${start} V? Was it ${volts(start) / (volts(start) >= 1000 ? 100 : 10)} V?` });
    }
    const stops = cautions.some((told) => told.stops);
    /* The server may know better than the page: once it refused, the box stays to be ticked. */
    although.hidden = !stops && !box.checked && !form.dataset.refused;
    box.required = stops;
    const worst = cautions.some((told) => told.weight === "stop") ? "stop" : cautions.length ? "fix" : one ? "ok" : "";
    place.className = worst ? `said said--${worst}` : "said";
    const good = one && one.planned ? `${one.code} is the planned one, and it is ready.` : one ? `${one.code} is ready.` : "";
    const words = cautions.length ? cautions.map((told) => told.sentence).join("\n") : good;
    if (place.textContent !== words) place.textContent = words;
  };

  document.addEventListener("input", (event) => {
    const field = event.target;
    /* A keypad gives comma or point by the phone's language; what is sent has a point. */
    if (field.matches("[data-volts]") && field.value.includes(",")) field.value = field.value.replace(",", ".");
    const form = field.closest("form[data-swap]");
    if (form) say(form);
  });
  ["change", "focusin", "reset"].forEach((name) =>
    document.addEventListener(name, (event) => {
      const form = event.target.closest && event.target.closest("form[data-swap]");
      if (form) window.setTimeout(() => say(form));
    }),
  );
  document.addEventListener("outbox:refused", (event) => {
    const form = document.querySelector("form[data-swap]");
    if (form && event.detail.entry.url === form.dataset.outbox) form.dataset.refused = "yes";
  });
  /* Codes to tap instead of typing; without script the field alone stands there. */
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-fill] button");
    if (!button) return;
    const field = document.getElementById(button.closest("[data-fill]").dataset.fill);
    field.value = button.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.form.elements.start_rest_v.focus();
  });
  const renew = () => document.querySelectorAll("form[data-swap]").forEach((form) => form.elements.code.value && say(form));
  document.addEventListener("htmx:load", renew);
  document.addEventListener("DOMContentLoaded", () => {
    document.querySelectorAll("[data-fill]").forEach((row) => (row.hidden = false));
    renew();
  });

  /* Without an answer of the server the page says since when it may be old; its clocks go on. */
  const away = (gone) =>
    document.querySelectorAll("[data-away]").forEach((place) => {
      if (gone && place.hidden) {
        const now = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
        place.textContent = `No answer from the pit laptop since ${now}. The clocks go on; the rest is as it was then.`;
      }
      place.hidden = !gone;
    });
  ["htmx:sendError", "htmx:responseError", "htmx:timeout"].forEach((name) =>
    document.addEventListener(name, () => away(true)),
  );
  document.addEventListener("htmx:afterOnLoad", () => away(false));

  /* Enter after the code goes on to the voltage: a scanner sends it, and the swap is not complete yet. */
  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key === "Enter" && field.matches && field.matches("form[data-swap] [name=code]")) {
      event.preventDefault();
      say(field.form);
      field.form.elements.start_rest_v.focus();
      return;
    }
    const free = !field.closest || !field.closest("input, select, textarea, button, a, summary, dialog");
    if (!free || event.ctrlKey || event.altKey || event.metaKey || event.key.length !== 1 || event.key === " ") return;
    const scan = document.querySelector("input[data-scan-anywhere]");
    if (!scan || scan.closest("details:not([open])")) return;
    scan.value = "";
    scan.focus();
  });
})();

/* Countdowns go on without the server: <time data-countdown datetime="..."> tells how long until then, and what
   data-past says once it is over ({} stands for the time since). The words are those of shared/web/moments.py.
   <p data-announce="id"> says aloud, at a few moments only, how long the countdown of that id still has. */
"use strict";

(() => {
  const [MINUTE, HOUR, DAY] = [60, 3600, 86400];
  const CLOSE = 10 * MINUTE;
  const ALOUD = [15, 5, 2];
  const two = (number) => String(number).padStart(2, "0");

  const span = (seconds) => {
    const whole = Math.floor(Math.abs(seconds));
    if (whole < CLOSE) return `${Math.floor(whole / MINUTE)}:${two(whole % MINUTE)}`;
    if (whole < HOUR) return `${Math.floor(whole / MINUTE)} min`;
    if (whole < DAY) return `${Math.floor(whole / HOUR)} h ${two(Math.floor((whole % HOUR) / MINUTE))} min`;
    const days = Math.floor(whole / DAY);
    return `${days} day${days === 1 ? "" : "s"}`;
  };
  const since = (seconds) => (seconds >= CLOSE ? span(seconds) : `${Math.max(Math.floor(seconds / MINUTE), 1)} min`);
  const left = (element) => (Date.parse(element.dateTime) - Date.now()) / 1000;

  const tick = () => {
    document.querySelectorAll("time[data-countdown]").forEach((element) => {
      const seconds = left(element);
      const words = seconds > 0 ? span(seconds) : (element.dataset.past || "{} ago").replace("{}", since(-seconds));
      if (element.textContent !== words) element.textContent = words;
      element.classList.toggle("is-close", seconds > 0 && seconds < CLOSE);
      element.classList.toggle("is-past", seconds <= 0);
    });
    document.querySelectorAll("[data-announce]").forEach((place) => {
      const element = document.getElementById(place.dataset.announce);
      const minutes = element ? Math.ceil(left(element) / MINUTE) : 0;
      if (!ALOUD.includes(minutes) || place.dataset.said === `${element.dateTime} ${minutes}`) return;
      place.dataset.said = `${element.dateTime} ${minutes}`;
      place.textContent = `${minutes} minutes ${place.dataset.announceTo || "left"}`;
    });
  };

  document.addEventListener("DOMContentLoaded", () => {
    tick();
    window.setInterval(tick, 1000);
  });
  document.addEventListener("htmx:load", tick);
})();

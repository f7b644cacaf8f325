/* The camera page: frames of the camera, or a still photo, to a code. The browser's own reader where there is one,
   else zxing-wasm. Came from a form (offline.js, data-scan-into): the code goes back there; else the thing is opened. */
"use strict";

(() => {
  const part = document.querySelector("[data-camera]");
  const find = (selector) => part.querySelector(selector);
  const [view, says] = [find("video"), find(".camera__says")];
  const [starter, photo, back] = [find("[data-camera-start]"), find("[data-camera-photo]"), find("[data-camera-back]")];
  const KEY = "loadstock-scan";
  const EVERY_MS = 150;
  const WIDEST = 1280; /* of a photo, in pixels: enough for a label that fills a tenth of it */
  const asked = JSON.parse(sessionStorage.getItem(KEY) || "null");

  /* --- readers ----------------------------------------------------------------------------------- */
  const own = async () => {
    if (!("BarcodeDetector" in window)) return null;
    const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
    if (!formats.includes("qr_code")) return null;
    const detector = new BarcodeDetector({ formats: ["qr_code"] });
    return async (picture) => ((await detector.detect(picture))[0] || {}).rawValue || "";
  };
  const compiled = () => {
    ZXingWASM.prepareZXingModule({ overrides: { locateFile: () => part.dataset.wasm } });
    return async (picture) => {
      const read = await ZXingWASM.readBarcodes(picture, { formats: ["QRCode"], maxNumberOfSymbols: 1, tryHarder: true });
      return (read[0] || {}).text || "";
    };
  };
  const reader = own().then((fast) => fast || compiled());

  const canvas = document.createElement("canvas");
  const pixels = (source, width, height) => {
    const scale = Math.min(1, WIDEST / Math.max(width, height));
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(source, 0, 0, canvas.width, canvas.height);
    return pen.getImageData(0, 0, canvas.width, canvas.height);
  };

  /* --- what to do with a code ---------------------------------------------------------------------- */
  const found = async (text) => {
    says.textContent = `Read: ${text}`;
    if (navigator.userActivation?.hasBeenActive && navigator.vibrate) navigator.vibrate(80);
    if (asked) {
      sessionStorage.setItem(KEY, JSON.stringify({ ...asked, code: text }));
      location.assign(asked.back);
      return;
    }
    const answer = await fetch(`${part.dataset.find}?code=${encodeURIComponent(text)}`, { headers: { Accept: "application/json" } }).catch(() => null);
    const thing = answer && (await answer.json().catch(() => null));
    if (answer && answer.ok && thing) location.assign(thing.url);
    else says.textContent = answer ? `${text}: ${(thing && thing.detail) || "nothing of this team has that code."}` : `${text}. No answer from the server to look it up.`;
  };

  /* --- the camera ------------------------------------------------------------------------------------ */
  let stream = null;
  const stop = () => {
    if (stream) stream.getTracks().forEach((track) => track.stop());
    stream = null;
    view.hidden = true;
    starter.hidden = false;
  };
  const look = async (read) => {
    while (stream) {
      if (view.videoWidth) {
        const text = await read(pixels(view, view.videoWidth, view.videoHeight)).catch((problem) => {
          says.textContent = `The reader did not start (${problem.message}). Type the code below.`;
          stop();
          return "";
        });
        if (text && stream) {
          stop();
          await found(text);
          return;
        }
      }
      await new Promise((go) => setTimeout(go, EVERY_MS));
    }
  };
  const begin = async () => {
    starter.hidden = true;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 } }, audio: false });
    } catch (problem) {
      starter.hidden = false;
      says.textContent = problem.name === "NotAllowedError" ? "The camera is not allowed here: allow it in the browser's settings of this page, or take a photo." : "No camera answers; take a photo, or type the code.";
      return;
    }
    view.srcObject = stream;
    view.hidden = false;
    await view.play();
    says.textContent = "Looking for a label ...";
    look(await reader);
  };

  photo.addEventListener("change", async () => {
    if (!photo.files[0]) return;
    stop();
    says.textContent = "Reading the photo ...";
    try {
      const picture = await createImageBitmap(photo.files[0]);
      const text = await (await reader)(pixels(picture, picture.width, picture.height));
      if (text) await found(text);
      else says.textContent = "No label to be read in that photo. Go closer, hold it flat, and keep light off it.";
    } catch {
      says.textContent = "That file is no picture this phone can open.";
    }
    photo.value = "";
  });

  /* --- start ------------------------------------------------------------------------------------------ */
  document.querySelector("[data-camera-typed]").addEventListener("submit", (event) => {
    if (!asked) return; /* the server looks it up and opens the thing */
    event.preventDefault();
    found(event.target.elements.code.value.trim());
  });
  if (asked) {
    back.href = asked.back;
    back.hidden = false;
  }
  part.hidden = false;
  window.addEventListener("pagehide", stop);
  if (navigator.mediaDevices) {
    starter.hidden = false;
    starter.addEventListener("click", begin);
    navigator.permissions?.query({ name: "camera" }).then((known) => known.state === "granted" && begin(), () => {});
  } else {
    says.textContent = "This page came without https, so the browser gives no camera. A photo works, and so does typing.";
  }
})();

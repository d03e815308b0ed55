"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const made = (tag, name, text) => {
    const node = document.createElement(tag);
    if (name) node.className = name;
    if (text) node.textContent = text;
    return node;
  };
  const STOOD = -1;
  const key = "pitch " + data.id;
  let kept = {};
  try { kept = JSON.parse(localStorage.getItem(key)) || {}; } catch { kept = {}; }
  const keep = () => {
    try { localStorage.setItem(key, JSON.stringify(kept)); return true; } catch { return false; }
  };
  const choice = (place) => {
    const mine = kept[place.code];
    const at = mine ? data.looks.findIndex((look) => look.fingerprint === mine.look) : -1;
    return at;
  };
  const wordsOf = (place) => (kept[place.code] && kept[place.code].words) || "";

  /* pictures: the newer format where the browser reads it, JPEG elsewhere */
  let newer = null;
  const urls = new Map();
  const urlOf = (picture) => {
    if (!urls.has(picture)) {
      const [type, text] = newer && picture.webp ? ["image/webp", picture.webp] : ["image/jpeg", picture.jpeg];
      const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
      urls.set(picture, URL.createObjectURL(new Blob([bytes], { type })));
    }
    return urls.get(picture);
  };
  const reads = (text) => new Promise((done) => {
    if (!text) return done(false);
    const probe = new Image();
    probe.onload = () => done(probe.width > 0);
    probe.onerror = () => done(false);
    probe.src = "data:image/webp;base64," + text;
  });
  const pictureOf = (place, look) => (look === STOOD ? place.stood : place.pictures[look]);
  const nameOf = (look) => (look === STOOD ? data.stood : data.looks[look].title);

  /* the wall */
  const tiles = data.places.map((place, at) => {
    const item = made("li");
    const tile = made("button", "tile");
    tile.type = "button";
    const frame = made("span", "frame");
    frame.style.aspectRatio = String(place.panorama ? 2.39 : place.stood.width / place.stood.height);
    const picture = made("img");
    picture.alt = "";
    picture.decoding = "async";
    frame.append(picture);
    const name = made("span", "name", place.name), said = made("span", "said");
    for (const node of [name, said]) node.dir = "auto";
    tile.append(frame, name, said);
    tile.addEventListener("click", () => open(at));
    item.append(tile);
    $("places").append(item);
    return { tile, picture, said };
  });
  const showWall = () => {
    let count = 0;
    data.places.forEach((place, at) => {
      const chosen = choice(place);
      if (chosen >= 0) count += 1;
      const look = chosen >= 0 ? chosen : place.proposed;
      const { tile, picture, said } = tiles[at];
      picture.src = urlOf(pictureOf(place, look));
      tile.dataset.chosen = chosen >= 0 ? "yes" : "no";
      said.textContent = nameOf(look) + (chosen >= 0 ? ", chosen" : ", proposed");
    });
    $("count").textContent = count + " of " + data.places.length + " places chosen";
  };

  /* one place */
  let here = 0, look = 0, held = false, wiping = false, against = STOOD, at = 50, turn = 0;
  const stage = $("stage");
  const fill = (layer, place, which) => {
    const picture = pictureOf(place, which);
    layer.replaceChildren();
    if (place.panorama) {
      const band = made("div", "band");
      band.style.backgroundImage = "url(" + urlOf(picture) + ")";
      band.style.backgroundPositionX = turn + "px";
      layer.append(band);
    } else {
      const image = made("img");
      image.src = urlOf(picture);
      image.alt = place.name + ", " + nameOf(which);
      image.draggable = false;
      layer.append(image);
    }
  };
  const drawEdge = () => {
    const over = $("over");
    over.style.clipPath = "";
    $("edge").hidden = !wiping || held;
    if (!wiping || held) return;
    const box = stage.getBoundingClientRect();
    const shown = over.firstChild ? over.firstChild.getBoundingClientRect() : box;
    const x = shown.left - box.left + (shown.width * at) / 100;
    over.style.clipPath = "inset(0 0 0 " + x + "px)";
    $("edge").style.left = x + "px";
  };
  const draw = () => {
    const place = data.places[here];
    fill($("over"), place, held ? STOOD : look);
    if (wiping && !held) fill($("under"), place, against); else $("under").replaceChildren();
    drawEdge();
    $("badge").hidden = !(held || wiping);
    $("badge").textContent = held ? data.stood : wiping ? nameOf(against) + " | " + nameOf(look) : "";
    stage.setAttribute("aria-label", place.name + ", " + nameOf(held ? STOOD : look));
    $("hold").setAttribute("aria-pressed", String(held));
    const chosen = choice(place) === look;
    $("choose").setAttribute("aria-pressed", String(chosen));
    $("choose").textContent = chosen ? "Chosen" : "Choose this look";
    document.querySelectorAll("#looks label").forEach((label, i) => {
      label.dataset.chosen = choice(place) === i ? "yes" : "no";
      label.firstChild.checked = i === look;
    });
    $("note").textContent = data.looks[look].note;
  };
  const setWipe = (on) => {
    wiping = on;
    $("wipe").setAttribute("aria-pressed", String(on));
    $("wiping").hidden = !on;
    draw();
  };
  const open = (index) => {
    here = (index + data.places.length) % data.places.length;
    const place = data.places[here];
    look = choice(place) >= 0 ? choice(place) : place.proposed;
    turn = 0;
    held = false;
    $("wall").hidden = true;
    $("place").hidden = false;
    $("place-name").textContent = place.name;
    $("light").textContent = [place.light, place.words].filter(Boolean).join(" ");
    $("words").value = wordsOf(place);
    stage.dataset.turns = place.panorama ? "yes" : "no";
    draw();
    $("place-name").focus();
    for (const i of data.looks.keys()) urlOf(place.pictures[i]);
  };
  const shut = () => {
    $("place").hidden = true;
    $("wall").hidden = false;
    showWall();
    tiles[here].tile.focus();
  };
  const showLook = (index) => {
    look = (index + data.looks.length) % data.looks.length;
    draw();
  };
  const hold = (on) => { if (held !== on) { held = on; draw(); } };
  const choose = () => {
    const place = data.places[here];
    const again = choice(place) === look;
    kept[place.code] = { look: again ? "" : data.looks[look].fingerprint, words: wordsOf(place) };
    if (!keep()) $("note").textContent = "This browser keeps nothing: send the choice before you close the page.";
    draw();
  };
  data.looks.forEach((one, i) => {
    const label = made("label"), input = made("input"), text = made("span", "", one.title);
    input.type = "radio";
    input.name = "look";
    text.dir = "auto";
    input.addEventListener("change", () => showLook(i));
    label.append(input, text);
    $("looks").append(label);
  });
  const choices = [[STOOD, data.stood], ...data.looks.map((one, i) => [i, one.title])];
  for (const [value, name] of choices) {
    const option = made("option", "", name);
    option.value = String(value);
    $("against").append(option);
  }

  /* the choice leaves as text; choices.py reads it */
  const oneLine = (text) => text.replace(/\s+/g, " ").trim();
  const asText = () => {
    const lines = ["Choices for " + oneLine(data.title)];
    for (const place of data.places) {
      const chosen = choice(place);
      if (chosen >= 0) lines.push(place.code + " · " + data.looks[chosen].code + " · " + data.looks[chosen].fingerprint);
      else if (wordsOf(place)) lines.push(place.code + " · not chosen");
      if (wordsOf(place)) lines.push("    words: " + oneLine(wordsOf(place)));
    }
    return lines.join("\n") + "\n";
  };
  const leave = () => {
    $("text").value = asText();
    $("mail").href = "mailto:?subject=" + encodeURIComponent("Choices for " + oneLine(data.title)) + "&body=" + encodeURIComponent(asText());
    $("told").textContent = "";
    $("leave").showModal();
  };

  /* touch and mouse: hold, swipe, wipe, turn */
  let from = null, timer = 0;
  const HOLD_MS = 180, SWIPE_PX = 40;
  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    from = { x: event.clientX, y: event.clientY, turn, moved: false };
    stage.setPointerCapture(event.pointerId);
    if (!wiping) timer = window.setTimeout(() => hold(true), HOLD_MS);
  });
  stage.addEventListener("pointermove", (event) => {
    if (!from) return;
    const dx = event.clientX - from.x;
    if (Math.abs(dx) > 8) { from.moved = true; if (!held) window.clearTimeout(timer); }
    if (wiping) {
      const box = $("over").firstChild.getBoundingClientRect();
      at = Math.min(100, Math.max(0, (100 * (event.clientX - box.left)) / box.width));
      $("at").value = String(at);
      drawEdge();
    } else if (data.places[here].panorama && from.moved) {
      turn = from.turn + dx;
      document.querySelectorAll(".band").forEach((band) => { band.style.backgroundPositionX = turn + "px"; });
    }
  });
  const release = (event) => {
    if (!from) return;
    window.clearTimeout(timer);
    const dx = event.clientX - from.x, swiped = from.moved && !held && !wiping && !data.places[here].panorama;
    from = null;
    hold(false);
    if (swiped && Math.abs(dx) > SWIPE_PX) showLook(look + (dx < 0 ? 1 : -1));
  };
  stage.addEventListener("pointerup", release);
  stage.addEventListener("pointercancel", (event) => { if (from) from.moved = false; release(event); });
  stage.addEventListener("contextmenu", (event) => event.preventDefault());
  const holder = $("hold");
  holder.addEventListener("pointerdown", () => hold(true));
  for (const name of ["pointerup", "pointerleave", "pointercancel", "blur"]) holder.addEventListener(name, () => hold(false));

  /* keys */
  document.addEventListener("keydown", (event) => {
    if ($("place").hidden || $("leave").open || event.ctrlKey || event.metaKey || event.altKey) return;
    const typing = event.target.matches("#words"), sliding = event.target.matches("#at, select");
    if (event.key === "Escape") { event.preventDefault(); shut(); return; }
    if (typing || sliding) return;
    const onButton = event.target.matches("button, a") && event.target !== holder;
    if (event.key === "ArrowRight" || event.key === "ArrowLeft") { event.preventDefault(); showLook(look + (event.key === "ArrowRight" ? 1 : -1)); if (event.target.matches("#looks input")) $("looks").querySelectorAll("input")[look].focus(); }
    else if (event.key === "PageDown" || event.key === "PageUp") { event.preventDefault(); open(here + (event.key === "PageDown" ? 1 : -1)); }
    else if (event.key === " " && !onButton) { event.preventDefault(); hold(true); }
    else if (event.key === "Enter" && event.target === holder) { event.preventDefault(); hold(true); }
    else if (event.key === "Enter" && !onButton) { event.preventDefault(); choose(); }
    else if (event.key === "w") setWipe(!wiping);
  });
  document.addEventListener("keyup", (event) => { if (event.key === " " || event.key === "Enter") hold(false); });

  $("back").addEventListener("click", shut);
  $("before").addEventListener("click", () => open(here - 1));
  $("next").addEventListener("click", () => open(here + 1));
  $("choose").addEventListener("click", choose);
  $("wipe").addEventListener("click", () => setWipe(!wiping));
  $("against").addEventListener("change", (event) => { against = Number(event.target.value); draw(); });
  $("at").addEventListener("input", (event) => { at = Number(event.target.value); drawEdge(); });
  $("words").addEventListener("input", (event) => {
    const place = data.places[here], chosen = choice(place);
    kept[place.code] = { look: chosen >= 0 ? data.looks[chosen].fingerprint : "", words: event.target.value };
    keep();
  });
  $("send").addEventListener("click", leave);
  $("close").addEventListener("click", () => $("leave").close());
  $("copy").addEventListener("click", async () => {
    $("text").select();
    let copied = false;
    try { await navigator.clipboard.writeText(asText()); copied = true; } catch { copied = document.execCommand("copy"); }
    $("told").textContent = copied ? "Copied." : "Select the text above and copy it.";
  });
  $("save").addEventListener("click", () => {
    const link = made("a");
    link.href = URL.createObjectURL(new Blob([asText()], { type: "text/plain;charset=utf-8" }));
    link.download = "choices.txt";
    link.click();
    $("told").textContent = "Saved as choices.txt.";
  });
  window.addEventListener("resize", drawEdge);
  document.addEventListener("load", drawEdge, true);

  reads(data.places.length ? data.places[0].stood.webp : "").then((yes) => {
    newer = yes;
    showWall();
    document.body.dataset.ready = "yes";
  });
})();

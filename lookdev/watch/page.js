"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const made = (tag, name, text) => {
    const node = document.createElement(tag);
    if (name) node.className = name;
    if (text) node.textContent = text;
    return node;
  };
  const text = $("text");
  const EVERY = -1, ROW = 28, TOP = 6, LEFT = 10, PER_STEP = 6, CAPTION = 20, REST_MS = 150, AFTER_MS = 600, AT_MOST_KEPT = 40;

  let stills = [], looks = [], look = 0, only = EVERY;
  const drafts = new Map(); // look: { text, beganWith }
  let saving = null, asked = null;

  const newest = (number) => looks[number].versions.at(-1);
  const draftOf = (number) => drafts.get(number);
  const textOf = (number) => (draftOf(number) ? draftOf(number).text : newest(number).text);
  const shownStills = () => (only === EVERY ? stills.map((_, n) => n) : [only]);

  /* numbers in the text */
  const SEEN_AS_WORDS = /"""[\s\S]*?(?:"""|$)|'''[\s\S]*?(?:'''|$)|"(?:[^"\\\n]|\\.)*"?|'[^'\n]*'?|#[^\n]*/g;
  const NUMBER = /(?<![\w.+-])[+-]?\d[\d_]*(?:\.\d[\d_]*)?(?![\w.:-])/g;
  const HEADING = /^\s*\[{1,2}([^\[\]=,]+)\]{1,2}\s*$/;
  const bare = (all) => all.replace(SEEN_AS_WORDS, (words) => words.replace(/[^\n]/g, "~"));

  const numberAt = (all, caret) => {
    const plain = bare(all);
    const start = plain.lastIndexOf("\n", caret - 1) + 1;
    const end = plain.indexOf("\n", caret) < 0 ? plain.length : plain.indexOf("\n", caret);
    const line = plain.slice(start, end);
    if (HEADING.test(line)) return null;
    const from = line.indexOf("=") + 1;
    for (const found of line.slice(from).matchAll(NUMBER)) {
      const at = start + from + found.index;
      if (at <= caret && caret <= at + found[0].length) {
        return { start: at, end: at + found[0].length, text: found[0], key: keyAt(all, plain, start) };
      }
    }
    return null;
  };

  const keyAt = (all, plain, start) => {
    const lines = plain.slice(0, plain.indexOf("\n", start) < 0 ? plain.length : plain.indexOf("\n", start)).split("\n");
    const whole = all.split("\n");
    let key = null;
    for (let n = lines.length - 1; n >= 0; n -= 1) {
      const heading = HEADING.exec(lines[n]);
      if (heading) return `${heading[1].trim()}.${key || ""}`;
      if (key === null && lines[n].includes("=")) key = whole[n].slice(0, lines[n].indexOf("=")).trim();
    }
    return key || "";
  };

  const NATURAL = [
    [/\b(at|reach)_stops$/, 0.25], [/(^|[._])stops$/, 0.05], [/mired$/, 2], [/\bkeep$/, 0.05], [/\bsaturation$/, 0.02], [/families\b.*\bchroma$/, 0.05],
    [/(^|[._])deg$/, 1], [/\bcontrast$/, 0.02], [/\bstrength$/, 0.05], [/\b(slope|power)$/, 0.01], [/\boffset$/, 0.002],
  ];
  const decimals = (number) => (number.split(".")[1] || "").replace(/_/g, "").length;
  const stepOf = (number) => {
    const natural = NATURAL.find(([key]) => key.test(number.key));
    return natural ? natural[1] : 10 ** -decimals(number.text);
  };
  const nudged = (number, times) => {
    const step = stepOf(number);
    const places = Math.max(decimals(number.text), decimals(String(step)));
    const value = Number(number.text.replace(/_/g, "")) + times * step;
    const out = value.toFixed(places);
    if (Number(out) === 0) return (0).toFixed(places);
    return number.text.startsWith("+") && value > 0 ? `+${out}` : out;
  };

  const put = (start, end, words) => {
    text.focus({ preventScroll: true });
    text.setSelectionRange(start, end);
    const said = words === "" ? document.execCommand("delete") : document.execCommand("insertText", false, words);
    if (!said || text.value.slice(start, start + words.length) !== words) {
      text.setRangeText(words, start, end, "end");
      typed();
    }
  };
  const putAll = (words) => {
    if (text.value !== words) put(0, text.value.length, words);
  };

  /* the connection */
  let socket = null, again = 300;
  const connect = () => {
    socket = new WebSocket(`ws://${location.host}${location.pathname}live`);
    socket.binaryType = "arraybuffer";
    socket.addEventListener("open", () => {
      again = 300;
      outstanding = false;
    });
    socket.addEventListener("message", (event) => {
      if (typeof event.data === "string") heard(JSON.parse(event.data));
      else drawn(event.data);
    });
    socket.addEventListener("close", () => {
      $("lost").hidden = false;
      outstanding = false;
      setTimeout(connect, again);
      again = Math.min(2 * again, 3000);
    });
  };
  const send = (message) => {
    const open = socket !== null && socket.readyState === WebSocket.OPEN;
    if (open) socket.send(JSON.stringify(message));
    return open;
  };

  const heard = (message) => {
    if (message.kind === "state") {
      $("lost").hidden = true;
      stills = message.stills;
      looks = message.looks;
      if (look >= looks.length) look = 0;
      stated = "";
      lists();
      looks.forEach((_, number) => meet(number));
      open(look);
    } else if (message.kind === "look") {
      looks[message.number] = message.look;
      meet(message.number);
      lists();
      if (message.number === look) {
        keepText();
        want();
        strip();
      }
    } else if (message.kind === "shown") {
      shown(message);
    } else if (message.kind === "saved") {
      saving = null;
      states();
    } else if (message.kind === "asked") {
      saving = null;
      ask(message.look);
    } else {
      saving = null;
      say(message.words);
    }
  };

  /* a look as it is on the disk now, against what was typed here */
  const meet = (number) => {
    const draft = draftOf(number), now = newest(number);
    if (!draft) return;
    if (draft.text === now.text) {
      drafts.delete(number);
      if (asked === number) ask(null);
    } else if (saving && saving.look === number && saving.text === now.text) {
      draft.beganWith = now.number;
    } else if (draft.beganWith !== now.number) {
      const before = looks[number].versions.find((version) => version.number === draft.beganWith);
      if (before && before.text === now.text) draft.beganWith = now.number;
      else ask(number);
    }
  };
  const ask = (number) => {
    asked = number;
    $("asked").hidden = number === null || number !== look;
    if (number !== null) $("asked-words").textContent = `${looks[number].file} was saved elsewhere meanwhile. What you typed is still here, not saved.`;
  };
  $("mine").addEventListener("click", () => save(true));
  $("theirs").addEventListener("click", () => {
    ask(null);
    putAll(newest(look).text);
    drafts.delete(look);
    after();
  });

  /* pictures */
  let serial = 0, outstanding = false, waiting = false, rest = null, figures = [];
  /* first as JPEG, while a number is held a code or two off here and there; at rest to the code */
  const quickly = () => shownStills().filter((number) => draftOf(look) || stills[number].slow);
  const want = (exact = false) => {
    clearTimeout(rest);
    if (!looks.length) return;
    if (outstanding) {
      waiting = true;
      return;
    }
    waiting = false;
    serial += 1;
    const draft = draftOf(look);
    const sizes = Object.fromEntries(shownStills().map((n) => [n, sizeOf(n)]));
    outstanding = send({ kind: "show", serial, look, stills: shownStills(), sizes, text: draft ? draft.text : null, quick: exact ? [] : quickly(), exact });
  };
  const shown = (message) => {
    if (message.serial !== serial) return;
    outstanding = false;
    if (message.look === look) fault(message.fault);
    if (waiting) want();
    else if (message.more) rest = setTimeout(() => want(true), REST_MS);
  };
  /* in the screen's own pixels; where those are fewer than the still's, the server scales it once */
  const sizeOf = (number) => {
    const { width, height } = stills[number], box = figures[number].size;
    return box ? box.map((px) => Math.max(1, Math.round(Math.floor(px) * window.devicePixelRatio))) : [width, height];
  };
  const drawn = async (data) => {
    const length = new DataView(data).getUint32(0);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
    const figure = figures[head.still], bytes = new Uint8Array(data, 4 + length);
    const isOld = () => !figure || figures[head.still] !== figure || head.look !== look || head.serial < figure.serial;
    if (isOld()) return;
    if (head.exact) {
      const pixels = new Uint8ClampedArray(data, 4 + length, 4 * head.width * head.height);
      sized(figure.live, head).putImageData(new ImageData(pixels, head.width, head.height), 0, 0);
    } else {
      const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
      if (!isOld()) sized(figure.live, bitmap).drawImage(bitmap, 0, 0);
      bitmap.close();
      if (isOld()) return;
    }
    figure.serial = head.serial;
    document.dispatchEvent(new CustomEvent("drawn", { detail: head }));
  };
  const sized = (canvas, { width, height }) => {
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
    return canvas.getContext("2d", { alpha: false });
  };

  const frames = () => {
    $("pictures").replaceChildren();
    figures = stills.map((still, number) => {
      const figure = made("figure"), live = made("canvas"), held = made("canvas");
      const words = made("figcaption");
      live.setAttribute("role", "img");
      held.hidden = true;
      figure.append(live, held, words);
      figure.hidden = !shownStills().includes(number);
      $("pictures").append(figure);
      return { figure, live, held, words, serial: 0 };
    });
    captions();
    arrange();
  };
  const captions = () => figures.forEach(({ live, words }, number) => {
    const still = stills[number];
    const how = holding === "stood" ? "as it stood" : holding === "before" ? "before this edit" : looks[look].name;
    words.textContent = `${still.location} · ${still.name} · ${how}`;
    live.setAttribute("aria-label", words.textContent);
  });
  let resized = false, settled = null;
  const arrange = () => {
    const box = $("pictures"), visible = shownStills().filter((n) => stills[n]);
    const wide = box.clientWidth, high = box.clientHeight, gap = 6;
    let best = null;
    for (let across = 1; across <= visible.length; across += 1) {
      const down = Math.ceil(visible.length / across);
      const w = (wide - gap * (across - 1)) / across - 1, h = (high - gap * (down - 1)) / down - CAPTION - 1;
      const sizes = visible.map((n) => {
        const scale = Math.max(0, Math.min(w / stills[n].width, h / stills[n].height));
        return [stills[n].width * scale, stills[n].height * scale];
      });
      const area = sizes.reduce((sum, [a, b]) => sum + a * b, 0);
      if (!best || area > best.area) best = { area, sizes };
    }
    visible.forEach((n, at) => {
      const { figure, size } = figures[n];
      if (size && Math.abs(size[0] - best.sizes[at][0]) > 1) resized = true;
      figures[n].size = best.sizes[at];
      figure.style.width = `${Math.floor(best.sizes[at][0])}px`;
      figure.style.height = `${Math.floor(best.sizes[at][1]) + CAPTION}px`;
    });
  };
  const settle = () => {
    clearTimeout(settled);
    settled = setTimeout(() => {
      if (resized) want(true);
      resized = false;
    }, REST_MS);
  };
  new ResizeObserver(() => { if (figures.length) { arrange(); settle(); } }).observe($("pictures"));

  /* holding: as it stood, and before this edit */
  let holding = null;
  const kept = new Map(); // address: promise of a blob
  const fetched = (address) => {
    const known = kept.get(address);
    kept.delete(address);
    const blob = known || fetch(address).then((answer) => {
      if (!answer.ok) throw new Error("no picture");
      return answer.blob();
    });
    kept.set(address, blob);
    blob.catch(() => kept.delete(address));
    while (kept.size > AT_MOST_KEPT) kept.delete(kept.keys().next().value);
    return blob;
  };
  const before = () => {
    const versions = looks[look].versions;
    if (draftOf(look) || versions.length < 2) return versions.at(-1);
    return versions.at(-2);
  };
  const addressOf = (still, kind) => {
    const [width, height] = sizeOf(still), size = `width=${width}&height=${height}`;
    return kind === "stood"
      ? `stood/${still}.png?${size}`
      : `still/${still}/${look}/${before().number}.png?${size}&round=${looks[look].round}`;
  };
  const hold = (kind) => {
    if (holding === kind || !looks.length) return;
    holding = kind;
    captions();
    $("stood").setAttribute("aria-pressed", String(kind === "stood"));
    $("before").setAttribute("aria-pressed", String(kind === "before"));
    if (kind === null) {
      figures.forEach(({ held }) => { held.hidden = true; });
      figures.forEach(({ live }) => { live.hidden = false; });
      return;
    }
    for (const still of shownStills()) {
      fetched(addressOf(still, kind)).then((blob) => createImageBitmap(blob)).then((bitmap) => {
        if (holding !== kind) return bitmap.close();
        sized(figures[still].held, bitmap).drawImage(bitmap, 0, 0);
        bitmap.close();
        figures[still].held.hidden = false;
        figures[still].live.hidden = true;
      }).catch(() => {
        if (holding === kind) figures[still].words.textContent = "no picture of this version";
      });
    }
  };
  const readyToHold = () => {
    for (const still of shownStills()) fetched(addressOf(still, "before")).catch(() => {});
  };
  for (const kind of ["stood", "before"]) {
    const button = $(kind);
    button.addEventListener("pointerdown", () => hold(kind));
    button.addEventListener("keydown", (event) => {
      if (event.key === " " || event.key === "Enter") {
        event.preventDefault();
        hold(kind);
      }
    });
    button.addEventListener("keyup", () => hold(null));
    button.addEventListener("blur", () => hold(null));
  }
  window.addEventListener("pointerup", () => hold(null));
  window.addEventListener("pointercancel", () => hold(null));
  window.addEventListener("blur", () => hold(null));
  window.addEventListener("keyup", (event) => { if (event.key === "F2") hold(null); });
  window.addEventListener("keydown", (event) => {
    if (event.key === "F2") {
      event.preventDefault();
      hold("before");
    } else if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      event.preventDefault();
      save(false);
    }
  });

  /* the text */
  const typed = () => {
    if (text.value === newest(look).text) drafts.delete(look);
    else if (draftOf(look)) draftOf(look).text = text.value;
    else drafts.set(look, { text: text.value, beganWith: newest(look).number });
    after();
  };
  const after = () => {
    if (asked !== null && !drafts.has(asked)) ask(null);
    states();
    want();
  };
  const keepText = () => {
    const wanted = textOf(look);
    if (text.value === wanted) return states();
    const { selectionStart, selectionEnd, scrollTop, scrollLeft } = text;
    text.value = wanted;
    text.setSelectionRange(selectionStart, selectionEnd);
    [text.scrollTop, text.scrollLeft] = [scrollTop, scrollLeft];
    states();
  };
  let stated = "";
  const states = () => {
    const now = [look, newest(look).number, drafts.has(look), only, looks[look].name].join();
    if (now === stated) return;
    stated = now;
    const { is_text: isText, file } = looks[look], dirty = drafts.has(look);
    $("file").textContent = file;
    $("state").textContent = !isText ? "shown, not edited" : dirty ? "not saved" : "saved";
    $("save").disabled = !dirty;
    text.readOnly = !isText;
    document.title = `${dirty ? "• " : ""}${looks[look].name}`;
    links();
  };
  const save = (over) => {
    const draft = draftOf(look);
    if (!draft) return;
    ask(null);
    saving = { look, text: draft.text };
    if (!send({ kind: "save", look, text: draft.text, began_with: draft.beganWith, over })) {
      saving = null;
      say("Not saved: the connection is lost.");
    }
  };
  $("save").addEventListener("click", () => save(false));
  text.addEventListener("input", () => {
    armed = true;
    typed();
  });

  let wrong = null;
  const fault = (found) => {
    wrong = found;
    $("fault").textContent = found ? `Line ${found.line}: ${found.words}` : "";
    text.setAttribute("aria-invalid", String(Boolean(found)));
    mark();
  };
  const say = (words) => { $("fault").textContent = words; };
  const mark = () => {
    const node = $("mark");
    node.hidden = !wrong;
    if (!wrong) return;
    node.textContent = wrong.words;
    node.style.top = `${TOP + ROW * wrong.line - 8 - text.scrollTop}px`;
  };
  text.addEventListener("scroll", mark);

  /* nudging: armed unless the caret came into the number by going up or down */
  let armed = true;
  text.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key !== "ArrowUp" && event.key !== "ArrowDown") {
      armed = event.key !== "Escape" && (armed || event.key !== "Shift");
      return;
    }
    const number = armed && !text.readOnly ? numberAt(text.value, text.selectionEnd) : null;
    if (!number || text.selectionStart < number.start) {
      armed = false;
      return;
    }
    event.preventDefault();
    put(number.start, number.end, nudged(number, (event.key === "ArrowUp" ? 1 : -1) * (event.shiftKey ? 10 : 1)));
  });

  let width = 0;
  const under = (event) => {
    if (!width) {
      const ruler = document.createElement("canvas").getContext("2d");
      const style = getComputedStyle(text);
      ruler.font = `${style.fontSize} ${style.fontFamily}`;
      width = ruler.measureText("0".repeat(100)).width / 100;
    }
    const box = text.getBoundingClientRect();
    const row = Math.floor((event.clientY - box.top - TOP + text.scrollTop) / ROW);
    const column = (event.clientX - box.left - LEFT + text.scrollLeft) / width;
    const lines = text.value.split("\n");
    if (row < 0 || row >= lines.length || column < 0 || lines[row].includes("\t")) return null;
    const start = lines.slice(0, row).reduce((sum, line) => sum + line.length + 1, 0);
    const number = column <= lines[row].length ? numberAt(text.value, start + Math.floor(column)) : null;
    return number && { number, caret: start + Math.round(column) };
  };
  let drag = null;
  text.addEventListener("mousedown", (event) => {
    armed = true;
    if (event.button !== 0 || event.detail !== 1 || event.shiftKey || text.readOnly) return;
    const found = under(event);
    if (!found) return;
    event.preventDefault();
    text.focus({ preventScroll: true });
    text.setSelectionRange(found.caret, found.caret);
    drag = { ...found, x: event.clientX, end: found.number.end, times: 0 };
  });
  window.addEventListener("mousemove", (event) => {
    if (!drag) {
      text.classList.toggle("on-number", event.target === text && !text.readOnly && Boolean(under(event)));
      return;
    }
    const times = Math.trunc((event.clientX - drag.x) / PER_STEP) * (event.shiftKey ? 10 : 1);
    if (times === drag.times) return;
    const words = nudged(drag.number, times);
    put(drag.number.start, drag.end, words);
    drag = { ...drag, times, end: drag.number.start + words.length };
  });
  window.addEventListener("mouseup", () => { drag = null; });

  /* lists, the strip of versions, the pictures to keep */
  const lists = () => {
    const fill = (list, entries, chosen) => {
      list.replaceChildren(...entries.map(([value, words]) => {
        const entry = made("option", "", words);
        entry.value = String(value);
        return entry;
      }));
      list.value = String(chosen);
    };
    fill($("look"), looks.map((each, n) => [n, each.name + (drafts.has(n) ? " •" : "")]), look);
    const every = stills.length > 1 ? [[EVERY, `all ${stills.length}`]] : [];
    if (only >= stills.length || (only === EVERY && stills.length === 1)) only = stills.length === 1 ? 0 : EVERY;
    fill($("still"), [...every, ...stills.map((still, n) => [n, `${still.location} · ${still.name}`])], only);
  };
  const open = (number) => {
    look = number;
    lists();
    text.value = textOf(look);
    text.setSelectionRange(0, 0);
    ask(asked);
    fault(looks[look].fault);
    states();
    strip();
    frames();
    want();
  };
  $("look").addEventListener("change", () => open(Number($("look").value)));
  $("still").addEventListener("change", () => {
    only = Number($("still").value);
    figures.forEach(({ figure }, n) => { figure.hidden = !shownStills().includes(n); });
    arrange();
    settle();
    states();
    want();
  });
  let stripping = null, ready = null; // both give way to the pictures
  const strip = () => {
    clearTimeout(stripping);
    clearTimeout(ready);
    stripping = setTimeout(stripNow, REST_MS);
  };
  const stripNow = () => {
    const { versions, is_text: isText } = looks[look];
    $("versions").replaceChildren(...versions.map((version) => {
      const item = made("li"), button = made("button");
      button.type = "button";
      button.disabled = !isText;
      if (version.reads) {
        const picture = made("img");
        picture.alt = "";
        picture.src = `small/${look}/${version.number}.jpeg`;
        picture.addEventListener("error", () => picture.remove());
        button.append(picture);
      }
      button.append(made("span", "", version.title));
      button.setAttribute("aria-label", `Take back version ${version.number + 1}: ${version.title}`);
      button.setAttribute("aria-current", String(version === versions.at(-1)));
      button.addEventListener("click", () => putAll(version.text));
      item.append(button);
      return item;
    }));
    $("versions").scrollLeft = $("versions").scrollWidth;
    ready = setTimeout(readyToHold, AFTER_MS);
  };
  const links = () => {
    const version = newest(look).number, as = drafts.has(look) ? " as saved" : "";
    $("files").replaceChildren(...shownStills().map((still) => {
      const link = made("a", "", `PNG ${still + 1}${as}`);
      const stem = (name) => name.replace(/^.*\//, "").replace(/\.[^.]*$/, "");
      link.href = `still/${still}/${look}/${version}.png`;
      link.download = `${stem(stills[still].name)}__${stem(looks[look].file)}.png`;
      link.title = `${stills[still].name} in this look as it was saved last`;
      return link;
    }));
  };
  window.addEventListener("beforeunload", (event) => { if (drafts.size) event.preventDefault(); });

  connect();
})();

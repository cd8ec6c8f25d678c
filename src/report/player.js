"use strict";
(() => {
  const root = document.querySelector(".listen");
  if (!root) return;
  document.documentElement.classList.add("scripted");
  const find = (id) => document.getElementById(id);
  const audio = root.querySelector("audio");
  const over = root.querySelector(".over");
  const drawing = over.querySelector("svg");
  const scale = Number(drawing.dataset.scale);
  const playhead = find("playhead");
  const stretch = find("stretch");
  const status = find("status");
  // A stroke as written tells its time by its place alone.
  const time = (element) => Number(element.dataset.t ?? element.getAttribute("cx") / scale);
  const shapes = ":is([data-t], [data-n]):not(a)";
  const byTime = (a, b) => time(a) - time(b);
  const strokes = [...drawing.querySelectorAll(`#strip ${shapes}`)].sort(byTime);
  const bars = [...drawing.querySelectorAll("a[data-t]")].sort(byTime);
  const starts = audio ? Number(audio.dataset.starts) : 0;
  let stopAt = null;
  let loop = null;
  let chosen = null;
  let now = 0;

  // Bars are one stop of the tabulator key; the arrows go on from there.
  const rove = (bar) => {
    for (const other of bars) other.setAttribute("tabindex", other === bar ? "0" : "-1");
  };
  if (bars.length) rove(bars[0]);

  // A narrow window would show nothing but the silence before the first stroke.
  if (strokes.length && time(strokes[0]) * scale > over.clientWidth * 0.85) {
    over.scrollLeft = time(strokes[0]) * scale - over.clientWidth * 0.2;
  }

  const show = (t, follow) => {
    now = t;
    const x = t * scale;
    playhead.setAttribute("x1", x);
    playhead.setAttribute("x2", x);
    playhead.setAttribute("visibility", "visible");
    const left = over.scrollLeft;
    if (follow && (x < left + 20 || x > left + over.clientWidth * 0.85)) {
      over.scrollLeft = x - over.clientWidth * 0.2;
    }
  };

  const seek = (t) => {
    stopAt = null;
    const at = Math.max(0, t);
    if (audio) audio.currentTime = Math.max(0, at - starts);
    show(at, true);
  };

  const play = () => {
    if (audio) audio.play().catch(() => {});
  };

  // The lines of the notes in the order of the part, however they are sorted.
  const notes = [...(document.querySelector("table.notes")?.tBodies[0].rows ?? [])];

  const tell = (element) => {
    const row = notes[element.dataset.n];
    if (!row) {
      status.textContent = "\u00a0";
      return;
    }
    const heads = row.closest("table").tHead.rows[0].cells;
    status.textContent = [...row.cells]
      .map((cell, i) => `${heads[i].textContent.trim()} ${cell.textContent.trim()}`)
      .join(" · ");
  };

  const choose = (element) => {
    chosen?.classList.remove("chosen");
    chosen = element;
    chosen.classList.add("chosen");
    tell(element);
  };

  const setLoop = (from, to) => {
    loop = from !== null && to > from ? { from, to } : null;
    find("loop")?.setAttribute("aria-pressed", String(loop !== null));
    stretch.setAttribute("x", loop ? loop.from * scale : 0);
    stretch.setAttribute("width", loop ? (loop.to - loop.from) * scale : 0);
  };

  const barEnd = (i) => (i + 1 < bars.length ? time(bars[i + 1]) : 2 * time(bars[i]) - time(bars[i - 1] ?? bars[i]) + 0.5);

  const loopBars = () => {
    if (!bars.length) return setLoop(starts, starts + audio.duration);
    const from = bars.findIndex((bar) => bar.dataset.b === find("loop-from").value);
    const to = bars.findIndex((bar, i) => i >= from && bar.dataset.b === find("loop-to").value);
    if (from < 0 || to < 0) return;
    setLoop(time(bars[from]), barEnd(to));
    seek(loop.from);
  };

  const step = (list, way) => {
    const slack = 0.02;
    const next = way > 0 ? list.find((e) => time(e) > now + slack) : list.filter((e) => time(e) < now - slack).pop();
    if (!next) return;
    seek(time(next));
    if (next.matches("a")) {
      rove(next);
      if (bars.includes(document.activeElement)) next.focus({ preventScroll: true });
    } else choose(next);
  };

  const speed = find("speed");
  const changeSpeed = (way) => {
    const to = speed.selectedIndex - way;
    if (to < 0 || to >= speed.options.length) return;
    speed.selectedIndex = to;
    speed.dispatchEvent(new Event("change"));
  };

  const toggle = () => (audio.paused ? play() : audio.pause());
  const toggleLoop = () => (loop ? setLoop(null, null) : loopBars());

  let dragFrom = null;
  let dragged = false;
  const timeAt = (event) => (event.clientX - drawing.getBoundingClientRect().left) / scale;
  drawing.addEventListener("pointerdown", (event) => {
    dragged = false;
    dragFrom = event.pointerType === "mouse" && event.button === 0 ? event.clientX : null;
  });
  drawing.addEventListener("pointermove", (event) => {
    if (dragFrom === null || Math.abs(event.clientX - dragFrom) < 8) return;
    dragged = true;
    const origin = drawing.getBoundingClientRect().left;
    const ends = [(dragFrom - origin) / scale, timeAt(event)];
    setLoop(Math.max(0, Math.min(...ends)), Math.max(...ends));
  });
  window.addEventListener("pointerup", () => {
    if (dragFrom !== null && dragged && loop) seek(loop.from);
    dragFrom = null;
  });
  drawing.addEventListener("dragstart", (event) => event.preventDefault());

  drawing.addEventListener("click", (event) => {
    event.preventDefault();
    if (dragged) return;
    const element = event.target.closest(`${shapes}, a[data-t]`);
    if (element && !element.matches("a")) choose(element);
    if (element && element.matches("a")) rove(element);
    seek(element ? time(element) : timeAt(event));
    play();
  });
  drawing.addEventListener("pointerover", (event) => {
    // While it plays, the strip moves under a pointer that rests.
    const element = event.target.closest(shapes);
    if (element && (!audio || audio.paused)) tell(element);
  });

  if (!audio) return;

  const button = find("toggle");
  const words = { play: button.textContent, pause: button.dataset.pause };
  audio.preservesPitch = true;
  button.addEventListener("click", toggle);
  find("back")?.addEventListener("click", () => step(bars, -1));
  find("on")?.addEventListener("click", () => step(bars, 1));
  find("loop").addEventListener("click", toggleLoop);
  for (const id of ["loop-from", "loop-to"]) {
    find(id)?.addEventListener("change", () => {
      if (loop) loopBars();
    });
  }
  if (bars.length) {
    find("loop-from").value = bars[0].dataset.b;
    find("loop-to").value = bars[Math.min(3, bars.length - 1)].dataset.b;
  }
  speed.addEventListener("change", () => {
    audio.playbackRate = Number(speed.value) / 100;
  });

  root.addEventListener("keydown", (event) => {
    const target = event.target;
    if (event.ctrlKey || event.altKey || event.metaKey || target.matches("input, select, audio")) return;
    const list = event.shiftKey || target.matches("a[data-t]") ? bars : strokes;
    const done = {
      " ": () => (target.matches("button") ? false : toggle()),
      ArrowLeft: () => step(list, -1),
      ArrowRight: () => step(list, 1),
      ArrowUp: () => changeSpeed(1),
      ArrowDown: () => changeSpeed(-1),
      Home: () => seek(bars.length ? time(bars[0]) : 0),
      l: toggleLoop,
      L: toggleLoop,
      Enter: () => {
        if (target === over && chosen) {
          seek(time(chosen));
          play();
        } else return false;
      },
    }[event.key];
    if (done && done() !== false) event.preventDefault();
  });

  for (const link of document.querySelectorAll("a.play")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      setLoop(null, null);
      seek(Number(link.dataset.from));
      stopAt = Number(link.dataset.to);
      play();
    });
  }

  const follow = () => {
    const t = audio.currentTime + starts;
    if (loop && t >= loop.to) seek(loop.from);
    else if (stopAt !== null && t >= stopAt) {
      stopAt = null;
      audio.pause();
      show(t, true);
    } else show(t, true);
    if (!audio.paused) requestAnimationFrame(follow);
  };
  audio.addEventListener("play", () => {
    button.textContent = words.pause;
    requestAnimationFrame(follow);
  });
  audio.addEventListener("pause", () => {
    button.textContent = words.play;
  });
  audio.addEventListener("seeked", () => {
    if (audio.paused) show(audio.currentTime + starts, false);
  });
  audio.addEventListener("error", () => {
    status.textContent = audio.dataset.missing;
  });
})();

// Opens the written pages in Chromium and uses them as a reader would.
//
// `cargo test --release --test page` writes the pages into tests/out/page;
// this script reads them there, checks them and leaves pictures beside them.
// KETTLEMARK_CHROMIUM names another browser; names of cases after the script
// check these alone.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { existsSync, readFileSync, readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { join, dirname } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const out = join(here, "..", "out", "page");
const reviews = ["clean", "bad", "five", "long", "one-drum", "all-rolls", "refused", "hostile", "sound"];
// Pages across takes, with the headings of each.
const across = {
  trend: ["Evenness against tempo", "All measures", "How this is reckoned"],
  "trend-few": ["Evenness against tempo", "All measures", "How this is reckoned"],
  "trend-hostile": ["Evenness against tempo", "All measures", "How this is reckoned"],
  "trend-tempo": ["Evenness against tempo", "All measures", "How this is reckoned"],
  compare: ["All measures", "Bar by bar", "How this is reckoned"],
  "compare-one": ["All measures", "Bar by bar", "How this is reckoned"],
  "compare-hostile": ["All measures", "Bar by bar", "How this is reckoned"],
  class: ["What most players share", "The takes", "Not judged", "How the class spreads"],
  "class-hostile": ["What most players share", "The takes", "Not judged", "How the class spreads"],
  "class-one": ["What most players share", "The takes"],
  "class-none": ["What most players share", "The takes", "Not judged"],
};
const fileOf = (name) => (name in across ? `${name.split("-")[0]}.html` : "review.html");
const cases = [...reviews, ...Object.keys(across)];
const wanted = process.argv.slice(2);
const axeSource = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browserPath = process.env.KETTLEMARK_CHROMIUM ?? "/usr/bin/chromium";

const absent = (what) => {
  console.log(`SKIPPED: the page tests: ${what}`);
  process.exit(process.env.CI === "true" ? 1 : 0);
};
if (!existsSync(browserPath)) absent(`no browser at ${browserPath}`);
if (!cases.every((name) => existsSync(join(out, name, fileOf(name))))) {
  absent("no pages; run cargo test --release --test page first");
}

const browser = await chromium.launch({
  executablePath: browserPath,
  args: ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"],
});

let passed = 0;
const failures = [];
const check = async (name, body) => {
  if (wanted.length > 0 && !wanted.some((word) => name.startsWith(word))) return;
  try {
    await body();
    passed += 1;
    console.log(`ok      ${name}`);
  } catch (error) {
    failures.push(name);
    console.log(`FAILED  ${name}\n        ${String(error.message).split("\n").slice(0, 12).join("\n        ")}`);
  }
};

const wide = { width: 1280, height: 900 };
const narrow = { width: 360, height: 780 };

// Opens a file; whatever the page complains of or asks for is kept.
const open = async (file, options = {}) => {
  const context = await browser.newContext({ viewport: wide, ...options });
  const page = await context.newPage();
  page.complaints = [];
  page.asked = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) page.complaints.push(message.text());
  });
  page.on("pageerror", (error) => page.complaints.push(error.message));
  page.on("dialog", (dialog) => {
    page.complaints.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  page.on("request", (request) => page.asked.push(request.url()));
  await page.goto(pathToFileURL(join(out, file)).href);
  return page;
};
const close = (page) => page.context().close();

// Texts of visible drawings that leave their drawing.
const cutTexts = (page) =>
  page.evaluate(() => {
    const cut = [];
    for (const svg of document.querySelectorAll("svg.chart")) {
      const box = svg.getBoundingClientRect();
      if (box.width === 0 || getComputedStyle(svg).display === "none") continue;
      for (const text of svg.querySelectorAll("text")) {
        const t = text.getBoundingClientRect();
        if (t.width > 0 && (t.left < box.left - 1.5 || t.right > box.right + 1.5 || t.top < box.top - 2 || t.bottom > box.bottom + 2)) {
          cut.push(`${text.textContent} (${Math.round(t.left - box.left)}..${Math.round(t.right - box.left)} of ${Math.round(box.width)})`);
        }
      }
    }
    return cut;
  });

// Texts of visible drawings that lie on each other.
const overlaps = (page) =>
  page.evaluate(() => {
    const found = [];
    for (const svg of document.querySelectorAll("figure svg.chart")) {
      if (getComputedStyle(svg).display === "none") continue;
      const texts = [...svg.querySelectorAll("text")].map((e) => [e.textContent, e.getBoundingClientRect()]);
      for (let i = 0; i < texts.length; i++) {
        for (let k = i + 1; k < texts.length; k++) {
          const [a, b] = [texts[i][1], texts[k][1]];
          const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
          const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
          if (x > 2 && y > 5) found.push(`${texts[i][0]} | ${texts[k][0]}`);
        }
      }
    }
    return found;
  });

const violations = async (page) => {
  await page.evaluate(axeSource);
  const result = await page.evaluate(() =>
    axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }),
  );
  return result.violations.map((v) => `${v.id}: ${v.nodes.length} × ${v.nodes[0].html.slice(0, 160)} ${v.nodes[0].failureSummary}`);
};

for (const name of cases) {
  const file = join(name, fileOf(name));
  for (const [look, options] of Object.entries({
    light: { colorScheme: "light" },
    dark: { colorScheme: "dark" },
    narrow: { viewport: narrow, colorScheme: "light" },
  })) {
    await check(`${name} ${look}: quiet, alone, whole, accessible`, async () => {
      const page = await open(file, options);
      await page.waitForLoadState("load");
      assert.deepEqual(page.complaints, []);
      const outside = page.asked.filter((url) => !url.startsWith("file:") && !url.startsWith("data:"));
      assert.deepEqual(outside, []);
      const beyond = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(beyond <= 0, `wider than the window by ${beyond}`);
      assert.deepEqual(await cutTexts(page), []);
      assert.deepEqual(await overlaps(page), []);
      assert.deepEqual(await violations(page), []);
      const size = await page.evaluate(() => document.documentElement.scrollHeight);
      await page.screenshot({ path: join(out, name, `seen-${look}.png`), fullPage: size < 16000 });
      await close(page);
    });
  }
  await check(`${name} print: no chart is cut`, async () => {
    // A4 less its margins, in the browser's 96 units an inch.
    const sheet = { width: 680, height: 1001 };
    const page = await open(file, { viewport: sheet, colorScheme: "dark" });
    await page.emulateMedia({ media: "print" });
    const tall = await page.evaluate((height) => {
      const shown = [...document.querySelectorAll("figure svg.chart, .slices > svg")];
      return shown.map((e) => e.getBoundingClientRect().height).filter((h) => h > height);
    }, sheet.height);
    assert.deepEqual(tall, []);
    // Texts of a printed line of the strip that its ends would cut.
    const cutInLines = await page.evaluate(() =>
      [...document.querySelectorAll(".slices > svg > svg")].flatMap((line) => {
        const outer = line.parentElement.getBoundingClientRect();
        const scale = outer.width / line.parentElement.viewBox.baseVal.width;
        const left = outer.left + line.x.baseVal.value * scale;
        const right = left + line.width.baseVal.value * scale;
        return [...line.querySelectorAll("text")]
          .filter((text) => text.getBoundingClientRect().left < left - 1 || text.getBoundingClientRect().right > right + 1)
          .map((text) => text.textContent);
      }));
    assert.deepEqual(cutInLines, []);
    assert.equal(await page.locator("details:not([open])").evaluateAll((all) => all.filter((e) => e.getClientRects().length > 0).length), 0);
    assert.deepEqual(await cutTexts(page), []);
    const wider = await page.evaluate((width) =>
      [...document.querySelectorAll("table, figure, p, dl, pre")]
        .map((e) => [e.getBoundingClientRect().right, e.textContent.trim().slice(0, 40)])
        .filter(([right]) => right > width + 1), sheet.width);
    assert.deepEqual(wider, []);
    await page.screenshot({ path: join(out, name, "seen-print.png") });
    // Browsers repeat no head of a table that holds controls.
    assert.equal(await page.locator("th button").evaluateAll((all) =>
      all.filter((e) => getComputedStyle(e).display !== "contents").length), 0);
    await page.pdf({ path: join(out, name, "seen-print.pdf"), format: "A4", printBackground: true });
    // A sign at the head and one at the foot of every drawing: both come out
    // on the same sheet; and one at every heading that a drawing follows.
    const { drawings, headings } = await page.evaluate(() => {
      const shown = [...document.querySelectorAll("figure svg.chart, .slices > svg")].filter((e) => e.getClientRects().length > 0);
      shown.forEach((svg, k) => {
        const { height } = svg.viewBox.baseVal;
        for (const [sign, y] of [["head", 4], ["foot", height - 1]]) {
          const text = document.createElementNS("http://www.w3.org/2000/svg", "text");
          text.setAttribute("x", 0);
          text.setAttribute("y", y);
          text.setAttribute("style", "font-size:4px");
          text.textContent = `sign${k}${sign}`;
          svg.append(text);
        }
      });
      const headings = [];
      for (const section of document.querySelectorAll("section")) {
        const drawing = shown.find((svg) => section.contains(svg));
        const heading = section.querySelector("h2");
        const table = section.querySelector("table");
        const follows = drawing && !(table && table.compareDocumentPosition(drawing) & Node.DOCUMENT_POSITION_FOLLOWING);
        if (!follows || !heading) continue;
        const k = shown.indexOf(drawing);
        heading.insertAdjacentHTML("beforeend", ` <span style="font-size:4px">sign${k}over</span>`);
        headings.push(k);
      }
      return { drawings: shown.length, headings };
    });
    const signed = join(out, name, "seen-signed.pdf");
    await page.pdf({ path: signed, format: "A4" });
    const sheets = execFileSync("pdftotext", [signed, "-"], { encoding: "utf8", maxBuffer: 1 << 26 }).split("\f");
    const sheetOf = (sign) => sheets.findIndex((text) => new RegExp(`\\b${sign}\\b`).test(text));
    for (let k = 0; k < drawings; k++) {
      const [head, foot] = [sheetOf(`sign${k}head`), sheetOf(`sign${k}foot`)];
      assert.ok(head >= 0 && head === foot, `drawing ${k} begins on sheet ${head + 1} and ends on ${foot + 1}`);
    }
    for (const k of headings) {
      assert.equal(sheetOf(`sign${k}over`), sheetOf(`sign${k}head`), `drawing ${k} is not on the sheet of its heading`);
    }
    await close(page);
  });
  if (name in across) {
    await check(`${name} without scripts: everything is there, in order`, async () => {
      const page = await open(file, { javaScriptEnabled: false });
      assert.deepEqual(await page.locator("h2").allTextContents(), across[name]);
      for (const table of await page.locator("table").all()) {
        assert.ok(await table.isVisible());
        const heads = await table.locator("thead th").count();
        for (const row of await table.locator("tbody tr").all()) {
          assert.equal(await row.locator("th, td").count(), heads);
        }
      }
      await close(page);
    });
  } else if (name !== "refused") {
    await check(`${name} without scripts: everything is there, in order`, async () => {
      const page = await open(file, { javaScriptEnabled: false });
      const heads = await page.locator("h1, h2").allTextContents();
      assert.deepEqual(heads.slice(1), [
        "Practise next", "The take at a glance", "Evenness", "Drums in tune", "Dynamic shape",
        "Rolls", "Stops", "Bar by bar", "How to read this",
      ]);
      assert.ok((await page.locator("table").count()) >= 3);
      assert.equal(await page.locator(".script-only:visible").count(), 0);
      assert.ok(await page.locator(".strip svg").first().isVisible());
      await page.locator("details").last().locator("summary").click();
      assert.ok(await page.locator("table.notes tbody tr").first().isVisible());
      await close(page);
    });
  }
  if (name !== "sound") {
    await check(`${name}: the charts stand alone`, async () => {
      const charts = readdirSync(join(out, name)).filter((file) => file.endsWith(".svg")).map((file) => file.slice(0, -4));
      assert.ok(charts.length > 0 || ["class-one", "class-none"].includes(name));
      for (const chart of charts) {
        for (const colorScheme of ["bad", "trend", "compare", "class"].includes(name) ? ["light", "dark"] : ["light"]) {
          const page = await open(join(name, `${chart}.svg`), { colorScheme });
          assert.deepEqual(page.complaints, []);
          assert.deepEqual(await cutTexts(page), [], chart);
          const picture = join(out, name, `seen-${chart}-${colorScheme}.png`);
          await page.locator("svg").first().screenshot({ path: picture, timeout: 20000 }).catch(() => {});
          await close(page);
        }
      }
    });
  }
}

await check("refused: the key names what is drawn", async () => {
  const page = await open("refused/review.html");
  assert.match((await page.locator("ul.key li").allTextContents()).join(";"), /^\s*a stroke \([^;]*\)$/);
  await close(page);
});

// The first stroke of the take among those of all lanes.
const first = async (strokes) => {
  const places = await strokes.evaluateAll((all) => all.map((e) => e.cx.baseVal.value));
  return strokes.nth(places.indexOf(Math.min(...places)));
};

await check("five: a narrow window shows the first stroke", async () => {
  const page = await open("five/review.html", { viewport: narrow });
  const [stroke, strip] = [await first(page.locator("#strip .dot circle")).then((stroke) => stroke.boundingBox()), await page.locator(".over").boundingBox()];
  assert.ok(stroke.x >= strip.x && stroke.x + stroke.width <= strip.x + strip.width, `${stroke.x} in ${strip.x}..${strip.x + strip.width}`);
  await close(page);
});

await check("hostile: nothing comes alive", async () => {
  const page = await open("hostile/review.html");
  assert.equal(await page.locator("img, b, i, u, iframe").count(), 0);
  assert.equal(await page.locator("script").count(), 2);
  assert.match(await page.locator("h1").textContent(), /^<script>alert\(1\)<\/script>"'&amp; desrever/);
  assert.deepEqual(page.complaints, []);
  await close(page);
});

for (const name of Object.keys(across).filter((name) => name.endsWith("-hostile"))) {
  await check(`${name}: nothing comes alive`, async () => {
    const page = await open(join(name, fileOf(name)));
    assert.equal(await page.locator("img, b, i, u, iframe").count(), 0);
    assert.equal(await page.locator("script").count(), 1);
    assert.match(await page.locator("h1").textContent(), /<img src=x onerror=alert\(1\)> "'&amp; desrever 🥁 .*Процессия/);
    assert.deepEqual(page.complaints, []);
    await close(page);
  });
}

await check("class: a take leads to its page", async () => {
  for (const name of ["class", "class-hostile"]) {
    const page = await open(join(name, "class.html"));
    await page.locator("table a").first().click();
    await page.waitForLoadState("load");
    assert.match(await page.locator(".kicker").first().textContent(), /Review of a practice take/);
    assert.deepEqual(page.complaints, []);
    await close(page);
  }
});

const at = (page) => page.evaluate(() => document.querySelector("audio").currentTime);
const near = (a, b, slack = 0.03) => assert.ok(Math.abs(a - b) <= slack, `${a} is not ${b}`);
const still = (page) => page.evaluate(() => document.querySelector("audio").pause());

// Where a stroke of the strip is in the take, seconds.
const timeOf = (stroke) =>
  stroke.evaluate((e) => Number(e.dataset.t ?? e.getAttribute("cx") / e.ownerSVGElement.dataset.scale));

await check("sound: a click on a stroke plays from it", async () => {
  const page = await open("sound/review.html");
  const stroke = page.locator("#strip .dot circle").nth(7);
  await page.evaluate(() => {
    const audio = document.querySelector("audio");
    window.seeks = [];
    audio.addEventListener("seeking", () => window.seeks.push(audio.currentTime));
  });
  await stroke.click();
  await page.waitForFunction(() => window.seeks.length > 0);
  near((await page.evaluate(() => window.seeks))[0], await timeOf(stroke));
  await page.waitForFunction(() => !document.querySelector("audio").paused);
  await still(page);
  assert.match(await page.locator("#status").textContent(), /Bar .*Outcome played/);
  assert.ok(await stroke.evaluate((e) => e.classList.contains("chosen")));
  await close(page);
});

await check("sound: Enter on a bar plays from it", async () => {
  const page = await open("sound/review.html");
  const bar = page.locator("#strip a[data-t]").first();
  await bar.focus();
  await page.keyboard.press("Enter");
  const t = Number(await bar.getAttribute("data-t"));
  await page.waitForFunction((t) => document.querySelector("audio").currentTime >= t, t);
  await still(page);
  near(await at(page), t, 0.6);
  await close(page);
});

await check("sound: the keyboard moves, slows, loops and plays", async () => {
  const page = await open("sound/review.html");
  await page.locator(".over").focus();
  const strokes = (await Promise.all((await page.locator("#strip :is([data-t], [data-n]):not(a)").all()).map(timeOf))).sort((a, b) => a - b);
  const bars = await page.locator("#strip a[data-t]").evaluateAll((all) => all.map((e) => Number(e.dataset.t)));
  await page.keyboard.press("ArrowRight");
  near(await at(page), strokes[0]);
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("ArrowRight");
  near(await at(page), strokes[2]);
  await page.keyboard.press("ArrowLeft");
  near(await at(page), strokes[1]);
  await page.keyboard.press("Shift+ArrowRight");
  near(await at(page), bars[1]);
  await page.keyboard.press("Shift+ArrowLeft");
  near(await at(page), bars[0]);
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("ArrowDown");
  assert.deepEqual(
    await page.evaluate(() => [document.querySelector("audio").playbackRate, document.querySelector("audio").preservesPitch]),
    [0.8, true],
  );
  await page.keyboard.press(" ");
  await page.waitForFunction(() => !document.querySelector("audio").paused);
  await page.keyboard.press(" ");
  await page.waitForFunction(() => document.querySelector("audio").paused);
  await page.locator("#loop-from").fill("3");
  await page.locator("#loop-to").fill("3");
  await page.locator(".over").focus();
  await page.keyboard.press("l");
  assert.equal(await page.locator("#loop").getAttribute("aria-pressed"), "true");
  near(await at(page), bars[2]);
  await page.evaluate((t) => {
    document.querySelector("audio").currentTime = t;
  }, bars[3] - 0.15);
  await page.keyboard.press(" ");
  await page.waitForFunction((t) => document.querySelector("audio").currentTime < t, bars[2] + 0.5);
  await still(page);
  await close(page);
});

await check("sound: a remark plays from a beat before and stops", async () => {
  const page = await open("sound/review.html");
  const link = page.locator("ol.practise a.play").first();
  assert.match(await link.getAttribute("href"), /\.wav#t=[\d.]+,[\d.]+$/);
  const from = Number(await link.getAttribute("data-from"));
  await link.click();
  await page.waitForFunction((t) => document.querySelector("audio").currentTime > t, from);
  assert.ok((await at(page)) < from + 2);
  const to = Number(await link.getAttribute("data-to"));
  await page.evaluate((t) => {
    document.querySelector("audio").currentTime = t;
  }, to - 0.2);
  await page.waitForFunction(() => document.querySelector("audio").paused);
  near(await at(page), to, 0.25);
  await close(page);
});

await check("inside: the copy in the page plays at the times of the take", async () => {
  const page = await open("inside/review.html");
  const stroke = page.locator("#strip .dot circle").nth(5);
  const starts = Number(await page.locator("audio").getAttribute("data-starts"));
  const t = await timeOf(stroke);
  await page.waitForFunction(() => document.querySelector("audio").readyState >= 2);
  await stroke.click();
  await page.waitForFunction((t) => document.querySelector("audio").currentTime >= t, t - starts);
  await still(page);
  near(await at(page), t - starts, 0.6);
  assert.deepEqual(page.complaints, []);
  assert.equal(page.asked.filter((url) => !url.startsWith("data:")).length, 1);
  await close(page);
});

await check("inside: every stroke is where the page says, to the millisecond", async () => {
  const page = await open("inside/review.html");
  const strokes = await Promise.all((await page.locator("#strip .dot circle").all()).map(timeOf));
  assert.ok(strokes.length > 20);
  const { length, heard } = await page.evaluate(async (strokes) => {
    const audio = document.querySelector("audio");
    const bytes = Uint8Array.from(atob(audio.src.split(",")[1]), (c) => c.charCodeAt(0));
    const sound = await new OfflineAudioContext(1, 1, 16000).decodeAudioData(bytes.buffer);
    const samples = sound.getChannelData(0);
    const starts = Number(audio.dataset.starts);
    // The first loud sample from 10 ms before to 10 ms after.
    const heard = strokes.map((t) => {
      const from = Math.round((t - starts - 0.01) * 16000);
      const near = samples.subarray(from, from + 320);
      return starts + (from + near.findIndex((s) => Math.abs(s) > 0.4)) / 16000;
    });
    return { length: sound.duration - audio.duration, heard };
  }, strokes);
  near(length, 0, 0.001);
  strokes.forEach((t, k) => near(heard[k], t, 0.001));
  await close(page);
});

await check("inside: what is heard after a click is that stroke", async () => {
  const page = await open("inside/review.html");
  const all = (await Promise.all((await page.locator("#strip .dot circle").all()).map(timeOf))).sort((a, b) => a - b);
  const t = all.find((t, k) => k > 8 && t - all[k - 1] > 0.7);
  const heard = await page.evaluate(async (t) => {
    const audio = document.querySelector("audio");
    const context = new AudioContext();
    const tap = context.createScriptProcessor(256, 1, 1);
    context.createMediaElementSource(audio).connect(tap);
    tap.connect(context.destination);
    await context.resume();
    audio.currentTime = t - Number(audio.dataset.starts) - 0.4;
    await new Promise((done) => audio.addEventListener("seeked", done, { once: true }));
    let began = null;
    const found = new Promise((done) => {
      tap.onaudioprocess = (event) => {
        const loud = event.inputBuffer.getChannelData(0).some((s) => Math.abs(s) > 0.3);
        began ??= event.inputBuffer.getChannelData(0).some((s) => s !== 0) ? context.currentTime : null;
        if (loud) done(context.currentTime - began);
      };
    });
    await audio.play();
    return found;
  }, t);
  near(heard, 0.4, 0.08);
  await close(page);
});

await check("sound: the strip follows what plays", async () => {
  const page = await open("sound/review.html");
  await page.evaluate(() => {
    document.querySelector("audio").currentTime = 50;
    document.querySelector("audio").play();
  });
  await page.waitForFunction(() => document.querySelector(".over").scrollLeft > 1000);
  const x = Number(await page.locator("#playhead").getAttribute("x1"));
  near(x / Number(await page.locator(".over svg").getAttribute("data-scale")), 50, 2);
  await close(page);
});

await check("sound-refused: without bars the whole is looped", async () => {
  const page = await open("sound-refused/review.html");
  assert.deepEqual(page.complaints, []);
  assert.equal(await page.locator("#back, #on, #loop-from, #loop-to").count(), 0);
  await page.waitForFunction(() => document.querySelector("audio").readyState >= 1);
  await page.locator("#loop").click();
  assert.equal(await page.locator("#loop").getAttribute("aria-pressed"), "true");
  const scale = Number(await page.locator(".over svg").getAttribute("data-scale"));
  near(Number(await page.locator("#stretch").getAttribute("width")) / scale, 66, 0.5);
  await page.locator("#loop").click();
  assert.equal(await page.locator("#loop").getAttribute("aria-pressed"), "false");
  await page.locator(".over").focus();
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("Shift+ArrowRight");
  assert.ok((await at(page)) > 0);
  assert.deepEqual(page.complaints, []);
  await close(page);
});

await check("sound: a stretch is chosen by dragging", async () => {
  const page = await open("sound/review.html");
  await page.locator(".over").scrollIntoViewIfNeeded();
  const box = await page.locator(".over").boundingBox();
  await page.mouse.move(box.x + 150, box.y + 60);
  await page.mouse.down();
  await page.mouse.move(box.x + 300, box.y + 64, { steps: 5 });
  await page.mouse.up();
  assert.equal(await page.locator("#loop").getAttribute("aria-pressed"), "true");
  near(Number(await page.locator("#stretch").getAttribute("width")), 150, 3);
  await close(page);
});

// Every column of every table sorts both ways: numbers as numbers, unknown
// values last whichever way.
for (const name of ["trend", "trend-few", "compare", "class", "class-hostile"]) {
  await check(`${name}: tables sort by every head`, async () => {
    const page = await open(join(name, fileOf(name)));
    const unsorted = await page.evaluate(() => {
      const wrong = [];
      const known = (text) => text !== "–" && text !== "";
      const inOrder = (a, b) => {
        const [x, y] = [a, b].map((text) => Number.parseFloat(text.replace("−", "-")));
        if (Number.isNaN(x) || Number.isNaN(y)) return a.localeCompare(b, undefined, { numeric: true }) <= 0;
        return x <= y;
      };
      for (const table of document.querySelectorAll("table.sortable")) {
        [...table.tHead.rows[0].cells].forEach((head, column) => {
          for (const way of ["ascending", "descending"]) {
            head.querySelector("button").click();
            const texts = [...table.tBodies[0].rows].map((row) => row.cells[column].textContent.trim());
            const values = texts.filter(known);
            const pairs = values.slice(1).map((text, i) => (way === "ascending" ? [values[i], text] : [text, values[i]]));
            const last = texts.slice(values.length).every((text) => !known(text));
            if (head.getAttribute("aria-sort") !== way || !last || !pairs.every(([a, b]) => inOrder(a, b))) {
              wrong.push(`${head.textContent} ${way}: ${texts.join(" | ")}`);
            }
          }
        });
      }
      return wrong;
    });
    assert.deepEqual(unsorted, []);
    await close(page);
  });
}

await check("tables sort by their heads, unknown last", async () => {
  const page = await open("bad/review.html");
  const table = page.locator("#bars table.sortable").first();
  const button = table.locator("thead button").nth(9);
  const column = () => table.locator("tbody tr").evaluateAll((rows) => rows.map((r) => r.cells[9].textContent));
  const value = (text) => (text === "–" ? Infinity : Number.parseFloat(text.replace("−", "-")));
  await button.click();
  const up = (await column()).map(value);
  assert.deepEqual(up, [...up].sort((a, b) => a - b));
  await button.click();
  const down = (await column()).map(value).filter(Number.isFinite);
  assert.deepEqual(down, [...down].sort((a, b) => b - a));
  assert.equal((await column()).at(-1), "–");
  assert.equal(await table.locator("thead th").nth(9).getAttribute("aria-sort"), "descending");
  await close(page);
});

await browser.close();
console.log(`${passed} page checks passed, ${failures.length} failed`);
process.exit(failures.length ? 1 : 0);

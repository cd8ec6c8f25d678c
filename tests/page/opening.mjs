// How long pages take to open: prints, for every page named (the review of a
// ten-minute take where none is), its size and the times from the start of
// navigation to the first contents on the screen and to the end of loading.
// `cargo test --release --test page` writes the pages first.

import { statSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const ROUNDS = 11;
const here = dirname(fileURLToPath(import.meta.url));
const named = process.argv.slice(2).map((file) => resolve(file));
const files = named.length > 0 ? named : [join(here, "..", "out", "page", "long", "review.html")];
const median = (values) => values.toSorted((a, b) => a - b)[Math.floor(values.length / 2)];

for (const file of files) {
  const painted = [];
  const loaded = [];
  for (let round = 0; round < ROUNDS; round++) {
    // A browser of its own for each round: nothing is kept from the last.
    const browser = await chromium.launch({
      executablePath: process.env.KETTLEMARK_CHROMIUM ?? "/usr/bin/chromium",
      args: ["--no-sandbox", "--disable-gpu"],
    });
    const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
    await page.goto(pathToFileURL(file).href);
    const times = await page.evaluate(
      () =>
        new Promise((done) => {
          new PerformanceObserver((list) => {
            const paint = list.getEntriesByName("first-contentful-paint")[0];
            if (!paint) return;
            const [navigation] = performance.getEntriesByType("navigation");
            done([paint.startTime, navigation.loadEventEnd]);
          }).observe({ type: "paint", buffered: true });
        }),
    );
    painted.push(times[0]);
    loaded.push(times[1]);
    await browser.close();
  }
  const told = (values) => `${Math.round(median(values))} ms (at most ${Math.round(Math.max(...values))})`;
  const kilobytes = Math.round(statSync(file).size / 1000);
  console.log(`${file}: ${kilobytes} kB; first contents ${told(painted)}, loaded ${told(loaded)}, ${ROUNDS} openings`);
}
